"""Who stands where on which date?"""
