"""Do the rows of the tables hold together, and what will a run do without?"""
