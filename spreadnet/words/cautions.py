"""What every output says of its limits."""

CAUTIONS = (
    "Numbers are model estimates with intervals, not findings.",
    "This ranks where education helps; it does not authorise anyone to inspect, detain or turn a "
    "boat away.",
    "Educators do not touch boats, stay clear of moving vehicles and slippery ramps, do not argue, "
    "and report through the local authority.",
    "Hot-water cleaning burns and is for trained staff.",
    "Rules on plants, drains and drying differ by place: local law and licensed practice decide.",
)
