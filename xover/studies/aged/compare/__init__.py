"""Where do two curves, networks or speakers differ, and is it audible?"""
