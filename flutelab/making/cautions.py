"""Cautions, each to stand at the step that it concerns (common practice, no source)."""

CAUTIONS = {
    "local": "Local workshop, school and product rules come first, and a qualified instructor "
    "where there is one.",
    "dust": "Dust of plastic, wood and bamboo harms lungs: cut, file and sand plastic wet and with "
    "hand tools, catch wood dust and wear a fitted mask; wear eye protection; wipe, do not blow; "
    "rinse or wipe out the pipe and wash hands before playing.",
}
