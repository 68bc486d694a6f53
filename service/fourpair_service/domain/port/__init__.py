"""The live port at the end of a link: what it says, sends and can do with this cable."""
