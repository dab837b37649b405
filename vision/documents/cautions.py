"""What every page, sheet and table says of itself, in one wording."""

MEASURING_AID = (
    "A measuring aid: it certifies nothing and replaces no mirror and no look around the vehicle."
)
LAW_FIRST = "Local law and licensed practice come first."
CAUTION = f"{MEASURING_AID} {LAW_FIRST}"

DOUBT = "+- is one standard deviation: 19 times in 20 the truth lies within twice that"
"""What a doubt is, said once where the first one stands."""
