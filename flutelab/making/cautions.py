"""Cautions, each to stand at the step that it concerns (common practice, no source)."""

CAUTIONS = {
    "local": "Local workshop, school and product rules come first, and a qualified instructor "
    "where there is one.",
    "pvc-dust": "Cut, file and sand plastic wet and with hand tools; wear eye protection; wipe, "
    "do not blow; rinse the pipe and wash hands before playing.",
}
