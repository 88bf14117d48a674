"""What do dated finds say of how readily introductions take hold, and where does a species hide?"""
