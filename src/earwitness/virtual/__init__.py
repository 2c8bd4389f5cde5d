"""A workshop that exists only in arithmetic: physical parts, a rig, and the recordings that come out of it.

It stands beside the tower and shares no physics with it, so that what the package finds in these recordings
can be held against a truth that the package didn't make.
"""
