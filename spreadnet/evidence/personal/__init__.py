"""What may be kept and shown, and what looks like a person?"""
