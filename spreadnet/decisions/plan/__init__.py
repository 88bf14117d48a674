"""Which shifts avoid most within all rules, and what are hours worth?"""
