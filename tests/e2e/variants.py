"""Small invented trials of every sort that a report has to tell: what plain_words.py reads.

VARIANTS: name -> (protocol, data). Data are drawn from a seed of their own, so that one variant
can be changed without the others."""
import math
import random

HEAD = "quincunx: 1\ntitle: {} (invented)\nquestion: Does it matter?\n"


def noise(seed):
    return random.Random(seed).gauss


def lines(head, rows):
    return "\n".join([head] + [",".join(str(x) for x in row) for row in rows]) + "\n"


def poisson(draw, mean):
    """Knuth's product of uniforms."""
    limit, k, product = math.exp(-mean), 0, draw.random()
    while product > limit:
        product *= draw.random()
        k += 1
    return k


def of(draw, n, share):
    return sum(draw.random() < share for _ in range(n))


def graded(draw, score):
    """Place on a scale of three grades."""
    x = score + draw.gauss(0, 1.2)
    return "low" if x < -0.5 else "medium" if x < 0.8 else "high"


BLOCKS_OF_TREES = "units:\n  block: {{count: {}}}\n  tree: {{within: block, count: {}}}\n"
SPRAY = ("treatments:\n  spray: {levels: [water, urea, lime, soap], on: tree, control: water}\n")


def split_plot():
    g = noise(11)
    rows = []
    for b in range(1, 5):
        block = g(0, 3)
        for t, pinch in enumerate(["none", "early"]):
            tree = g(0, 3)
            for limb, angle in enumerate([30, 60, 90]):
                y = 60 + block + tree - 0.35 * (angle - 30) + 6 * t * (angle == 90) + g(0, 2)
                rows.append((b, t + 1, limb + 1, pinch, angle, f"{y:.1f}"))
    return (HEAD.format("Split plot") + "units:\n  block: {count: 4}\n"
            "  tree: {within: block, count: 2}\n  limb: {within: tree, count: 3}\n"
            "treatments:\n  pinch: {levels: [none, early], on: tree, control: none}\n"
            "  angle: {levels: [30, 60, 90], on: limb, unit: degree, control: 30}\n"
            "measure:\n  length: {kind: continuous, on: limb, unit: cm, margin: 8,"
            " label: shoot length}\n",
            lines("block,tree,limb,pinch,angle,length", rows))


def one_factor(compare, margin=2):
    g = noise(12)
    rows = [(b, t + 1, s, f"{12 + 4 * (s == 'urea') + 0.2 * (s == 'lime') + 0.3 * b + g(0, 1):.2f}")
            for b in range(1, 7) for t, s in enumerate(["water", "urea", "lime", "soap"])]
    return (HEAD.format("One treatment with a control") + BLOCKS_OF_TREES.format(6, 4) + SPRAY +
            f"measure:\n  mass: {{kind: continuous, on: tree, unit: kg, margin: {margin}}}\n"
            f"analysis:\n  compare: {compare}\n",
            lines("block,tree,spray,mass", rows))


def dose(top, second):
    """Fruit mass over a dose; with `second`, another treatment changes the curve."""
    g = noise(13)
    rows = []
    pinches = ["none", "early"] if second else ["none"]
    for b in range(1, 6):
        k = 0
        for p in pinches:
            for d in [0, 10, 20, 40]:
                k += 1
                y = 150 - 0.05 * (d - top) ** 2 if p == "none" else 100 + 0.5 * d
                rows.append((b, k, d, p, f"{y + 2 * b + g(0, 5):.1f}"))
    treatments = ("treatments:\n  dose: {levels: [0, 10, 20, 40], on: tree, unit: mg}\n" +
                  ("  pinch: {levels: [none, early], on: tree, control: none}\n" if second else ""))
    if not second:
        rows = [row[:3] + row[4:] for row in rows]
    return (HEAD.format("Dose and response") + BLOCKS_OF_TREES.format(5, 8 if second else 4) +
            treatments + "measure:\n  mass: {kind: continuous, on: tree, unit: g, margin: 10,"
            " label: fruit mass, better: more}\n",
            lines("block,tree,dose," + ("pinch," if second else "") + "mass", rows))


def covariate(confounded):
    g = noise(14)
    rows = []
    for b in range(1, 6):
        for t, s in enumerate(["water", "urea", "lime", "soap"]):
            area = {"treatment": 10 + 3 * t, "block": 10 + 3 * b,
                    "no": round(14 + g(0, 3), 1)}[confounded]
            rows.append((b, t + 1, s, area, f"{5 + 0.4 * area + 3 * (t == 1) + g(0, 1):.2f}"))
    return (HEAD.format("Covariate") + BLOCKS_OF_TREES.format(5, 4) + SPRAY +
            "covariates:\n  trunk_area: {on: tree, unit: cm2}\n"
            "measure:\n  mass: {kind: continuous, on: tree, unit: kg, margin: 2}\n" +
            ("analysis:\n  blocks: fixed\n" if confounded == "block" else ""),
            lines("block,tree,spray,trunk_area,mass", rows))


def seasons(by_season, quiet=0):
    g = noise(15)
    rows = []
    for b in range(1, 6):
        for t, s in enumerate(["water", "urea", "lime"]):
            tree = g(0, 1.5)
            for year in [2024, 2025]:
                y = 20 + 0.5 * b + tree + 2 * (t == 1) + (3 if year == 2025 else 0)
                y += g(0, 0.2 if year == quiet else 1.2)
                rows.append((year, b, t + 1, s, f"{y:.2f}"))
    return (HEAD.format("Two seasons") + "seasons: [2024, 2025]\n" + BLOCKS_OF_TREES.format(5, 3) +
            "treatments:\n  spray: {levels: [water, urea, lime], on: tree, control: water}\n"
            "measure:\n  mass: {kind: continuous, on: tree, unit: kg, margin: 2}\n" +
            ("analysis:\n  residual: {by: season}\n" if by_season else ""),
            lines("season,block,tree,spray,mass", rows))


def counts(ratio):
    draw = random.Random(16)
    rows = [(b, t + 1, s, poisson(draw, m * math.exp(draw.gauss(0, 0.25))))
            for b in range(1, 7)
            for t, (s, m) in enumerate([("water", 6), ("urea", 12), ("lime", 6), ("soap", 7)])]
    return (HEAD.format("Counts") + BLOCKS_OF_TREES.format(6, 4) + SPRAY +
            "measure:\n  shoots: {kind: count, on: tree, margin: 2" +
            (", compare_as: ratio" if ratio else "") + "}\n",
            lines("block,tree,spray,shoots", rows))


def shares(none=False):
    draw = random.Random(17)
    share = [("water", 0.0 if none else 0.2), ("urea", 0.7), ("lime", 0.3), ("soap", 0.25)]
    rows = [(b, t + 1, s, 20, of(draw, 20, p))
            for b in range(1, 7) for t, (s, p) in enumerate(share)]
    return (HEAD.format("Shares") + BLOCKS_OF_TREES.format(6, 4) + SPRAY +
            "measure:\n  broken: {kind: proportion, of: buds, on: tree, margin: 0.1}\n",
            lines("block,tree,spray,buds,broken", rows))


def classes(kind):
    draw = random.Random(18)
    rows = []
    for b in range(1, 9):
        for t, s in enumerate(["water", "urea", "lime", "soap"]):
            rows.append((b, t + 1, s, graded(draw, 1.5 * (s == "urea"))))
    return (HEAD.format("Grades" if kind == "ordinal" else "Classes") +
            BLOCKS_OF_TREES.format(8, 4) + SPRAY +
            f"measure:\n  vigour: {{kind: {kind}, levels: [low, medium, high], on: tree}}\n",
            lines("block,tree,spray,vigour", rows))


def value_of(kind, draw, score):
    """A value of any kind, larger with a larger score (about -1 to 2)."""
    if kind == "continuous":
        return f"{20 + 5 * score + draw.gauss(0, 2):.1f}"
    if kind == "count":
        return poisson(draw, math.exp(1.6 + 0.5 * score))
    if kind == "proportion":
        return of(draw, 20, 1 / (1 + math.exp(-score)))
    return graded(draw, score)


MEASURED = {"continuous": "y: {kind: continuous, on: tree, unit: cm, margin: 4}",
            "count": "y: {kind: count, on: tree, margin: 2}",
            "proportion": "y: {kind: proportion, of: buds, on: tree, margin: 0.1}",
            "ordinal": "y: {kind: ordinal, levels: [low, medium, high], on: tree}",
            "nominal": "y: {kind: nominal, levels: [low, medium, high], on: tree}"}


def cells(kind, tried, name, blocks=6):
    """Two treatments of which only the combinations in `tried` (pair -> score) were made."""
    draw = random.Random(19)
    rows = []
    for b in range(1, blocks + 1):
        for t, ((product, amount), score) in enumerate(tried.items()):
            rows.append((b, t + 1, product, amount) + ((20,) if kind == "proportion" else ()) +
                        (value_of(kind, draw, score),))
    products = list(dict.fromkeys(p for p, _ in tried))
    amounts = list(dict.fromkeys(a for _, a in tried))
    control = ", control: none" if "none" in products else ""
    return (HEAD.format(name) + BLOCKS_OF_TREES.format(blocks, len(tried)) +
            f"treatments:\n  product: {{levels: [{', '.join(products)}], on: tree{control}}}\n"
            f"  rate: {{levels: [{', '.join(amounts)}], on: tree}}\nmeasure:\n  {MEASURED[kind]}\n",
            lines("block,tree,product,rate," + ("buds," if kind == "proportion" else "") + "y",
                  rows))


EMPTY = {("urea", "low"): -0.5, ("urea", "high"): 1.5, ("lime", "low"): 0.0}
ADDED = {("none", "nil"): -1.0, ("urea", "low"): 0.3, ("urea", "high"): 1.5,
         ("lime", "low"): 0.2, ("lime", "high"): 0.6}


def one_replicate(kind="continuous"):
    """One tree a treatment, many limbs: nothing about the treatment can be tested."""
    draw = random.Random(20)
    rows = []
    for t, pinch in enumerate(["none", "early", "late"]):
        for limb in range(1, 7):
            rows.append((t + 1, limb, pinch) + ((20,) if kind == "proportion" else ()) +
                        (value_of(kind, draw, 0.6 * t),))
    return (HEAD.format("One tree a treatment") + "units:\n  tree: {count: 3}\n"
            "  limb: {within: tree, count: 6}\ntreatments:\n"
            "  pinch: {levels: [none, early, late], on: tree, control: none}\nmeasure:\n  " +
            MEASURED[kind].replace("on: tree", "on: limb") + "\n",
            lines("tree,limb,pinch," + ("buds," if kind == "proportion" else "") + "y", rows))


def bare():
    """One tree a treatment, one value each: no variation at all is known."""
    return (HEAD.format("One value a treatment") + "units:\n  tree: {count: 3}\ntreatments:\n"
            "  pinch: {levels: [none, early, late], on: tree, control: none}\nmeasure:\n"
            "  y: {kind: continuous, on: tree, unit: cm, margin: 4}\n",
            lines("tree,pinch,y", [(1, "none", 20.5), (2, "early", 24.1), (3, "late", 22.0)]))


def fixed_blocks():
    """Blocks inside sites, both fixed: their names hold a colon."""
    g = noise(21)
    rows = []
    for site in ["north", "south"]:
        for b in range(1, 4):
            block = g(0, 8)
            for t, s in enumerate(["water", "urea", "lime"]):
                rows.append((site, b, t + 1, s, f"{30 + block + 2 * t + g(0, 1):.2f}"))
    return (HEAD.format("Fixed blocks") + "units:\n  site: {count: 2}\n"
            "  block: {within: site, count: 3}\n  tree: {within: block, count: 3}\ntreatments:\n"
            "  spray: {levels: [water, urea, lime], on: tree, control: water}\n"
            "measure:\n  mass: {kind: continuous, on: tree, unit: kg, margin: 2}\n"
            "analysis:\n  blocks: fixed\n",
            lines("site,block,tree,spray,mass", rows))


def own_slopes():
    g = noise(22)
    rows = []
    for b in range(1, 9):
        for t, s in enumerate(["water", "urea"]):
            area = round(14 + g(0, 3), 1)
            rows.append((b, t + 1, s, area, f"{5 + (0.2 + 0.8 * t) * area + g(0, 0.7):.2f}"))
    return (HEAD.format("A slope for each level") + BLOCKS_OF_TREES.format(8, 2) +
            "treatments:\n  spray: {levels: [water, urea], on: tree, control: water}\n"
            "covariates:\n  trunk_area: {on: tree, unit: cm2, slopes: [spray]}\n"
            "measure:\n  mass: {kind: continuous, on: tree, unit: kg, margin: 2}\n",
            lines("block,tree,spray,trunk_area,mass", rows))


def equivalent():
    g = noise(23)
    rows = [(b, t + 1, s, f"{200 + 0.5 * t + g(0, 2):.1f}")
            for b in range(1, 9) for t, s in enumerate(["rope", "wire", "tape"])]
    return (HEAD.format("Alike") + BLOCKS_OF_TREES.format(8, 3) +
            "treatments:\n  tie: {levels: [rope, wire, tape], on: tree, control: rope}\n"
            "measure:\n  height: {kind: continuous, on: tree, unit: cm, margin: 10}\n",
            lines("block,tree,tie,height", rows))


def tiny_and_huge(power):
    """Values of a size that tempts to write powers of ten."""
    g = noise(24)
    rows = [(b, t + 1, s, f"{(4 + t + g(0, 0.5)) * 10.0 ** power:.6g}")
            for b in range(1, 6) for t, s in enumerate(["water", "urea", "lime", "soap"])]
    return (HEAD.format("Odd sizes") + BLOCKS_OF_TREES.format(5, 4) + SPRAY +
            "measure:\n  y: {kind: continuous, on: tree, unit: g}\n",
            lines("block,tree,spray,y", rows))


def logarithms():
    g = noise(25)
    rows = [(b, t + 1, s, f"{math.exp(3 + 0.9 * (t == 1) + g(0, 0.3)):.2f}")
            for b in range(1, 7) for t, s in enumerate(["water", "urea", "lime", "soap"])]
    return (HEAD.format("Logarithms") + BLOCKS_OF_TREES.format(6, 4) + SPRAY +
            "measure:\n  mass: {kind: continuous, on: tree, unit: g, margin: 10,"
            " transform: log}\n",
            lines("block,tree,spray,mass", rows))


VARIANTS = {
    "split plot": split_plot(),
    "one treatment, Dunnett": one_factor("dunnett"),
    "one treatment, Tukey": one_factor("tukey"),
    "one treatment, not adjusted": one_factor("none"),
    "dose, turning inside": dose(22, False),
    "dose, turning beyond": dose(55, False),
    "dose, two curves": dose(22, True),
    "covariate": covariate("no"),
    "covariate, confounded with the treatment": covariate("treatment"),
    "covariate, confounded with blocks": covariate("block"),
    "own slopes": own_slopes(),
    "seasons": seasons(False),
    "seasons, each its own residual": seasons(True),
    "seasons, one all but without a residual": seasons(True, 2025),
    "counts": counts(False),
    "counts as ratios": counts(True),
    "shares": shares(),
    "shares, none in one treatment": shares(True),
    "grades": classes("ordinal"),
    "classes": classes("nominal"),
    "one replicate": one_replicate(),
    "one replicate, counts": one_replicate("count"),
    "one replicate, shares": one_replicate("proportion"),
    "one replicate, grades": one_replicate("ordinal"),
    "one replicate, classes": one_replicate("nominal"),
    "one value a treatment": bare(),
    "fixed blocks": fixed_blocks(),
    "alike": equivalent(),
    "tiny values": tiny_and_huge(-7),
    "huge values": tiny_and_huge(9),
    "logarithms": logarithms(),
}
for the_kind in MEASURED:
    VARIANTS[f"empty cells, {the_kind}"] = cells(the_kind, EMPTY, "Empty cells")
    VARIANTS[f"added control, {the_kind}"] = cells(the_kind, ADDED, "Added control")
