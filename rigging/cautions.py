"""The cautions that stand on every output."""

CAUTIONS = (
    "A planning aid: a qualified person checks every hang before it is lifted.",
    "The manufacturers' rated data, local law and the venue's rules govern.",
    "Nobody stands below a moving load.",
    "A joint in compression needs a lock that holds both ways.",
)
