"""Is what was typed and measured sound?"""
