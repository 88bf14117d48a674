"""How well would the finds since a year have been foretold?"""
