"""Which lakes are infested when, and what does reaching boats avoid?"""
