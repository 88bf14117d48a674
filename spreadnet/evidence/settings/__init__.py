"""What does region.toml say?"""
