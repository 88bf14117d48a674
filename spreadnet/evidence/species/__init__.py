"""What is known of each species, and from where?"""
