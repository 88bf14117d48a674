"""Where do boats go next, and how often?"""
