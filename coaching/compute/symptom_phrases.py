"""Words in a free text that give reason to ask one of the coded questions."""

PHRASES: dict[str, tuple[str, ...]] = {
    "saddle_numbness_or_bladder": (
        "saddle", "groin is numb", "numb between", "genital", "incontinen", "can't pee", "cannot pee",
        "can't urinate", "cannot urinate", "wet myself", "both legs",
    ),
    "chest_pain": (
        "chest pain", "chest tight", "tight chest", "pressure in my chest", "pain in my chest",
        "chest hurts", "jaw and arm", "left arm pain",
    ),
    "fainting": (
        "faint", "passed out", "blacked out", "heart racing", "palpitation",
    ),
    "sudden_breathlessness": (
        "can't breathe", "cannot breathe", "hurts to breathe", "cough up blood", "coughing blood",
        "coughed blood",
    ),
    "major_injury": (
        "dislocat", "deformed", "bone sticking", "limb is cold", "broke my", "broken bone",
        "out of its socket",
    ),
    "hot_swollen_joint": (
        "hot and swollen", "hot, swollen", "swollen and hot", "red hot joint", "joint is hot",
    ),
    "spine_pain_with_fever": (
        "back pain and fever", "fever and back", "chills",
    ),
    "sudden_headache_or_stroke_signs": (
        "worst headache", "face droop", "drooping face", "slurred", "double vision", "lost my balance",
    ),
    "new_limb_weakness": (
        "foot drop", "drags", "dragging", "getting weaker", "leg gave out", "lost strength",
        "suddenly weak",
    ),
    "unsteady_gait_or_clumsy_hands": (
        "unsteady", "clumsy", "electric shock", "dropping things",
    ),
    "dark_urine_after_training": (
        "dark urine", "brown urine", "cola colour", "cola color", "pee is dark", "dark pee",
    ),
    "tense_painful_limb": (
        "rock hard", "unbearable pain", "tense and painful",
    ),
    "swollen_calf": (
        "swollen calf", "calf is swollen", "calf swollen", "blood clot", "one leg swollen",
    ),
    "sudden_pop": (
        "popped", "a pop", "loud pop", "snapped", "heard a snap",
    ),
    "cannot_bear_weight": (
        "can't put weight", "cannot put weight", "can't walk", "cannot walk", "can't bear weight",
    ),
    "joint_locked": (
        "locked", "is stuck", "got stuck", "won't straighten", "can't straighten", "cannot straighten",
    ),
    "joint_gives_way": (
        "gives way", "giving way", "gave way", "slips out", "slipped out", "unstable",
    ),
    "night_pain": (
        "night pain", "pain at night", "wakes me", "woke me up", "can't sleep from", "hurts all night",
    ),
    "weight_loss": (
        "losing weight", "lost weight", "weight loss",
    ),
    "cancer_history": (
        "cancer", "tumour", "tumor", "chemo",
    ),
    "numbness_or_tingling": (
        "numb", "tingl", "pins and needles",
    ),
    "spine_pain_after_minor_injury": (
        "osteoporosis", "back cracked",
    ),
    "bone_pain_with_loading": (
        "shin bone", "stress fracture", "bone pain", "bone hurts",
    ),
    "morning_stiffness": (
        "morning stiffness", "stiff in the morning", "psoriasis", "several swollen joints",
    ),
    "girdle_stiffness": (
        "both shoulders", "both hips",
    ),
    "heart_or_circulation_signs": (
        "short of breath", "breathless", "ankles swell", "swollen ankles", "heart murmur",
        "exhausted all the time",
    ),
    "wound_after_surgery": (
        "wound", "pus", "oozing", "scar is red", "stitches",
    ),
}  # fmt: skip
