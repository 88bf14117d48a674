"""What does the text of one cell mean, and may it be kept and shown?"""
