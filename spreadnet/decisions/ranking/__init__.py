"""Which landings come first, by how much, how sure, and why?"""
