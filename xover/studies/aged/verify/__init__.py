"""Does the build do what was predicted, and if not, which part or wire is to blame?"""
