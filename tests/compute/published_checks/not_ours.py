"""Published figures that no function of ours gives, each with its reason."""

from tests.compute.published_checks.check import NotOurs

MACHINE = "a regression for one machine and one sample; one formula is kept for every lift"
NO_CHART = (
    "no control chart is built: pain is whole numbers with a floor, so the printed run lengths do not hold"
)
BOUND = "a figure of a study, no formula; the service sets no such limit by itself"

NOT_OURS = (
    NotOurs(
        "Z01", "chest press 1RM from a 5RM of 100 kg", "113.7699 kg",
        "Reynolds 2006, JSCR 20(3):584-592 (seen)", MACHINE,
    ),
    NotOurs("Z02", "leg press 1RM from a 5RM of 100 kg", "123.9546 kg", "Reynolds 2006 (seen)", MACHINE),
    NotOurs(
        "Z03", "Lander's formula, 100 kg x 5", "113.71 kg", "Lander 1985, NSCA J 6:60-61 (seen)",
        "began as a guessed chart and has a pole like Brzycki's; not one of the six",
    ),
    NotOurs(
        "Z04", "mean under-prediction of the reserve", "0.95 (0.17 to 1.73)",
        "Halperin 2022, Sports Med 52(2):377-390 (seen)",
        "a mean over people who differ widely; effort.rir_bias measures each client's own, none is applied",
    ),
    NotOurs(
        "Z05", "gain predicted from 4 more weekly sets", "+1.48 percentage points",
        "Schoenfeld 2017, J Sports Sci 35(11):1073-1082 (slope seen)", "growth is not predicted",
    ),
    NotOurs(
        "Z06", "detectable change of the pain scale as printed", "2 (= 1.96 x 1.02)",
        "Childs 2005, Spine 30(11):1331-1334 (seen)",
        "leaves out the sqrt(2) for a difference of two measurements; ours is P05",
    ),
    NotOurs(
        "Z07", "important change of shoulder pain", "2.17 points",
        "Michener 2011, J Sport Rehabil 20(1):115-128 (seen)",
        "for the mean of three conditions of one joint; pain.is_improved uses one rule for every site",
    ),
    NotOurs(
        "Z08", "important change of chronic pain", "1 point or 15 %",
        "Salaffi 2004, Eur J Pain 8(4):283-291 (seen)",
        "below the noise of one client; the rule of N02 to N05 is kept",
    ),
    NotOurs(
        "Z09", "two-level Wells score of 2", "likely", "Wells 2003 and NICE (seen)",
        "never computed: the question about a swollen calf refers out on its own",
    ),
    NotOurs(
        "Z10", "tau-a, S and Z of 353 values with ties", "-0.0315316765, -1959, -0.8854562843",
        "tests of an open library (seen)", "its data are not printed; the variance without ties is T16",
    ),
    NotOurs(
        "Z11", "CUSUM k 0.5, h 4: run length without a shift, two- and one-sided; at 1 sigma",
        "167.68, 335.37; 8.383", "Montgomery, Introduction to SQC (computed; 168 and 8.38 from memory)",
        NO_CHART,
    ),
    NotOurs(
        "Z12", "CUSUM k 0.5, h 5: likewise", "465.44, 930.89; 10.376",
        "Montgomery, Introduction to SQC (computed; 465 and 10.4 from memory)", NO_CHART,
    ),
    NotOurs(
        "Z13", "EWMA chart lambda 0.10, L 2.814: run lengths 0 and 1 sigma", "499.6, 10.33",
        "Lucas and Saccucci 1990, Technometrics 32(1):1-12 (second-hand, computed)", NO_CHART,
    ),
    NotOurs(
        "Z14", "EWMA chart lambda 0.10, L 2.700", "369.0, 9.73", "integral equation (computed)", NO_CHART,
    ),
    NotOurs(
        "Z15", "EWMA chart lambda 0.20, L 2.962", "499.7, 10.54",
        "Lucas and Saccucci 1990 (computed, from memory)", NO_CHART,
    ),
    NotOurs("Z16", "Shewhart chart at 3 sigma", "370.40, 43.89", "1 / (2 Phi(-3)) (computed)", NO_CHART),
    NotOurs(
        "Z17", "all four Western Electric rules", "91.75",
        "Champ and Woodall 1987, Technometrics 29:393-399 (from memory, simulated)", NO_CHART,
    ),
    NotOurs(
        "Z18", "upper limit of the worked EWMA chart", "52.5884", "NIST/SEMATECH e-Handbook 6.3.2.4 (seen)",
        "no control chart is built; its averages are W17",
    ),
    NotOurs(
        "Z19", "first signal and S_hi of the worked CUSUM", "observation 14, 4.94",
        "NIST/SEMATECH e-Handbook 6.3.2.3 (observation seen, value computed)", NO_CHART,
    ),
    NotOurs("Z20", "CUSUM of 2, 3, 3, 4, 4, 5", "0, 0.5, 1, 2.5, 4, 6.5", "definition (computed)", NO_CHART),
    NotOurs(
        "Z21", "Bonferroni and Benjamini-Yekutieli on the fifteen p values", "3 and 3 rejected",
        "formulas (computed)",
        "one control of false discoveries is enough; Bonferroni is too strict for a list",
    ),
    NotOurs(
        "Z22", "agreement (ICC) of the tested maximum", "0.97", "Grgic 2020, Sports Med Open 6:31 (seen)",
        "the rules use its coefficient of variation, P01",
    ),
    NotOurs(
        "Z23", "increments of the load: upper and lower body, less and more trained",
        "1 to 2, 2 to 4, 2 to 4 and 4 to 7 kg",
        "Baechle and Earle (eds), Essentials of Strength Training and Conditioning (from memory)",
        "the equipment's step and the bounds of L01 decide, and they hold for every exercise",
    ),
    NotOurs(
        "Z24", "mean of the patients' dose ratios", "77.4 %", "Fairman 2020 (seen)",
        "the patients' own ratios are not printed; each client has their own score (ratio of totals: A01)",
    ),
    NotOurs(
        "Z25", "knee force down stairs and walking", "346 and 261 % of body weight",
        "Kutzner 2010, J Biomech 43:2164-2173 (seen)",
        "forces are not computed: no table of joint stress per exercise holds across loads and techniques",
    ),
    NotOurs(
        "Z26", "highest shoulder force of straight-arm raises", "238 % of body weight",
        "Bergmann 2011, J Biomech 44:1543-1552 (seen)", "as Z25",
    ),
    NotOurs(
        "Z27", "smallest weekly dose", "4 sets for each muscle",
        "Iversen 2021, Sports Med 51:2079-2095 (seen)", BOUND,
    ),
    NotOurs(
        "Z28", "reps and growth at 30 % to failure", "34.4 reps, +7.8 %",
        "Lasevicius 2022, JSCR 36(2):346-351 (seen)",
        "a result of a study; the hard-set rule drawn from it is E05",
    ),
)  # fmt: skip
