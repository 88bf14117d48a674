"""How are trips between landings held: as a matrix, by the law, or lumped?"""
