"""Cautions, each to stand at the step that it concerns (common practice, no source)."""

CAUTIONS = {
    "local": "Local workshop, school and product rules come first, and a qualified instructor "
    "where there is one.",
    "dust": "Dust of plastic, wood and bamboo harms lungs: cut, file and sand plastic wet and with "
    "hand tools, catch wood dust and wear a fitted mask; wear eye protection; wipe, do not blow; "
    "rinse or wipe out the pipe and wash hands before playing.",
    "pvc-dust": "PVC: cut and sand it wet, by hand (no mains tool near water); power tools need "
    "extraction and a fitted mask; protect eyes; wipe or vacuum; rinse pipe and hands; never blow "
    "dust out.",
    "pvc-heat": "Never burn, flame, laser, hot-wire or hot-tool PVC: it gives off hydrogen "
    "chloride. Smoke or smell from a blunt or fast bit means stop and let in air.",
    "pipe": "Use pipe marked for drinking water, its print scrubbed off; no grey conduit, drain "
    "ABS, foam core, old or unmarked pipe.",
    "drill": "Pipe clamped in a V-block, dowel inside; punch, pilot, small slow steps: bits grab; "
    "no gloves, loose hair, sleeves, jewellery; key out; brush chips; deburr; onlookers wear eye "
    "protection.",
    "knife": "Cut away from the hand, the pipe clamped, with many light cuts. Pupils use a file "
    "in place of a knife.",
    "wood": "Dust of wood and bamboo harms lungs; no poisonous wood near the mouth; mind "
    "splinters. Holes are burnt in wood and bamboo only, never in PVC.",
    "finish": "Finish fully cured and rated for food; nut oils are allergens; oily rags can "
    "ignite: lay them flat. Solvent cement and instant glue: let in air, no flames.",
    "mouth": "One mouthpiece each, or wash with soap and water, then a disinfectant allowed for "
    "plastic and mouth, as long as its label says; rinse, dry. Not when ill.",
    "breath": "Long notes make dizzy: sit, rest between readings. With asthma, take the route "
    "with data only.",
    "hearing": "Start quiet, let tones rise softly, never sweep upward with headphones on; one "
    "group sounds at a time; ear protection at machines.",
}
