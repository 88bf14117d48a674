"""Where would one more survey shift sharpen the decision most?"""
