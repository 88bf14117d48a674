"""What rows and shapes stand in a vector file, with nothing else read?"""
