"""What is safe, what is heard, what can be had: every network and every option read alike, whoever asks.

A study asks here for its stops; none has a reading of its own. Knows speakers and networks, no command.
"""
