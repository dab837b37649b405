"""What every page, sheet and table says of itself, in one wording."""

MEASURING_AID = (
    "A measuring aid: it certifies nothing and replaces no mirror and no look around the vehicle."
)
LAW_FIRST = "Local law and licensed practice come first."
CAUTION = f"{MEASURING_AID} {LAW_FIRST}"
