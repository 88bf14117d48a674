"""What does a boat bring alive, and can it live there?"""
