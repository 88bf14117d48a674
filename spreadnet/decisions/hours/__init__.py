"""How many boats do hours reach, and how are the same hours placed otherwise?"""
