"""What do visits, contacts and surveys say of every landing and lake?"""
