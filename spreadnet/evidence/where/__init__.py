"""Where do lakes and landings lie, and which landing belongs to which lake?"""
