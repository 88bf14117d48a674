"""Which file of a folder is which table, and what text stands in its cells?"""
