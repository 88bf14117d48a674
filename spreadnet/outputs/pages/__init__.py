"""The pages of plan and hindcast."""
