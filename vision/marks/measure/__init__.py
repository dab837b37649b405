"""The centre of a mark: matched roughly, then drawn into the picture and fitted to its pixels."""
