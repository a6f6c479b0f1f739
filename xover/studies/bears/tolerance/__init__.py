"""What do the tolerances of the parts do: thousands of builds, the exact worst corner, left against right?"""
