"""How are counts pooled, and how sure is what they say?"""
