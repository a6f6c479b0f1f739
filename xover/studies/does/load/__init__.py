"""What does the amplifier see, and may it?"""
