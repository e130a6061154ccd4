"""Counts, shares, rates, tables. Tolerances: 1e-9 unless a reason stands beside a looser one."""

import warnings

import numpy as np
from compare_calc import Case, command, csv_text
from scipy import stats
from statsmodels.stats import contingency_tables, inter_rater, multitest, proportion

warnings.filterwarnings("ignore")


def draw_share(rng):
    """x of n, from tiny to large, with none and all among them."""
    n = int(10 ** rng.uniform(0, 6))
    x = rng.choice([0, n, int(rng.integers(0, n + 1)), int(rng.binomial(n, rng.beta(0.5, 5)))])
    return int(x), n


def finite(value):
    return float(value) if np.isfinite(value) else None


@command("proportion")
def shares(rng):
    for _ in range(250):
        x, n = draw_share(rng)
        conf = rng.choice([0.8, 0.9, 0.95, 0.99, 0.999])
        against = rng.choice([0.01, 0.06, 0.3, 0.5, round(rng.uniform(0, 1), 4)])
        test = stats.binomtest(x, n, against)
        wilson = test.proportion_ci(conf, "wilson")
        tail = (1 - conf) / 2
        exact = [
            stats.beta.ppf(tail, x, n - x + 1) if x else 0,
            stats.beta.isf(tail, x + 1, n - x) if x < n else 1,
        ]
        want = {
            "estimate": x / n,
            "wilson": [wilson.low, wilson.high],
            "clopper_pearson": exact,
            "p": test.pvalue,
        }
        # the reference's Wilson limits cancel near 0
        rels = {"wilson": 1e-7}
        yield Case(["proportion", x, n, "--against", against, "--conf", conf], want, rels=rels)
    yield Case(["proportion", 0, 0], {"estimate": None, "wilson": [0, 1], "clopper_pearson": [0, 1]})
    # closed forms: no piece of n with the mark
    for n in (1, 10**6, 10**12, 10**15):
        high = -np.expm1(np.log(0.025) / n)
        yield Case(["proportion", 0, n], {"estimate": 0, "clopper_pearson": [0, high]}, floor=0)
    yield Case(["proportion", 5, 4], refused=True)
    yield Case(["proportion", 1, 4, "--conf", 1], refused=True)


@command("rates")
def two_shares(rng):
    for _ in range(250):
        scale = 10 ** rng.uniform(0.3, 5)
        n1, n2 = (int(v) + 1 for v in rng.uniform(0.2, 2, 2) * scale)
        x1, x2 = int(rng.binomial(n1, rng.beta(1, 3))), int(rng.binomial(n2, rng.beta(1, 3)))
        conf = rng.choice([0.9, 0.95, 0.99])
        low, high = proportion.confint_proportions_2indep(
            x1, n1, x2, n2, method="newcomb", compare="diff", alpha=1 - conf
        )
        table = np.array([[x1, n1 - x1], [x2, n2 - x2]])
        want = {
            "difference": x1 / n1 - x2 / n2,
            "newcombe": [low, high],
            "fisher_p": stats.fisher_exact(table).pvalue,
            "ratio": finite(np.float64(x1) / n1 / (x2 / n2)) if x2 else None,
            "odds_ratio": x1 * (n2 - x2) / (x2 * (n1 - x1)) if x2 and n1 > x1 else None,
        }
        if x1 and x2:
            spread = stats.norm.ppf((1 + conf) / 2) * np.sqrt(1 / x1 - 1 / n1 + 1 / x2 - 1 / n2)
            ratio = x1 / n1 / (x2 / n2)
            want["ratio_interval"] = [ratio * np.exp(-spread), ratio * np.exp(spread)]
        else:
            want["ratio_interval"] = None
        if 0 < x1 + x2 < n1 + n2:
            chi2 = stats.chi2_contingency(table, correction=False)
            want["z"] = proportion.proportions_ztest([x1, x2], [n1, n2])[0]
            want["chi2"], want["chi2_p"] = chi2.statistic, chi2.pvalue
        else:
            want.update(z=None, chi2=None, chi2_p=None)
        # differences of nearly equal shares lose digits in the reference; its hypergeometric sums have ten
        rels = {"fisher_p": 1e-8, "chi2": 1e-7, "chi2_p": 1e-7, "z": 1e-7, "difference": 1e-7}
        yield Case(["rates", x1, n1, x2, n2, "--conf", conf], want, rels=rels, floor=1e-11)
    # a difference that doubles cannot see if shares are taken first
    n = 10**15
    yield Case(["rates", n // 2 + 1, n, n // 2, n], {"difference": 1e-15, "odds_ratio": 1 + 4e-15}, floor=0)
    # equal groups, where ties between the tails decide: exact by whole numbers
    for a, c, size in ((200, 260, 10000), (30, 90, 200), (3, 0, 7), (5, 5, 12)):
        yield Case(["rates", a, size, c, size], {"fisher_p": exact_fisher(a, size, c, size)})
    for a, n1, c, n2 in ((30, 200, 90, 200), (1, 3, 2, 9), (7, 34, 1, 34), (12, 1000, 30, 700)):
        yield Case(["rates", a, n1, c, n2], {"fisher_p": exact_fisher(a, n1, c, n2)})
    yield Case(["rates", 0, 0, 0, 0], {"difference": None, "ratio": None, "fisher_p": 1})
    yield Case(["rates", 3, 2, 1, 5], refused=True)


def exact_fisher(a, n1, c, n2):
    """Fisher's two-sided p in whole numbers."""
    from fractions import Fraction
    from math import comb

    marked = a + c
    ways = [comb(n1, k) * comb(n2, marked - k) for k in range(max(0, marked - n2), min(n1, marked) + 1)]
    seen = comb(n1, a) * comb(n2, c)
    return float(Fraction(sum(w for w in ways if w <= seen), sum(ways)))


@command("poisson")
def events(rng):
    for _ in range(200):
        x, t = int(rng.poisson(10 ** rng.uniform(-1, 5))), round(10 ** rng.uniform(-3, 5), 6)
        conf = rng.choice([0.9, 0.95, 0.99])
        tail = (1 - conf) / 2
        low = stats.gamma.ppf(tail, x) / t if x else 0
        want = {"rate": x / t, "interval": [low, stats.gamma.isf(tail, x + 1) / t]}
        yield Case(["poisson", x, t, "--conf", conf], want)
    yield Case(["poisson", 3, 0], refused=True)


@command("poisson")
def two_rates(rng):
    for _ in range(200):
        t1, t2 = np.round(10 ** rng.uniform(0, 4, 2), 3)
        rate = 10 ** rng.uniform(-3, 0)
        x1, x2 = int(rng.poisson(rate * t1)), int(rng.poisson(rate * t2 * rng.uniform(0.5, 2)))
        if x1 + x2 == 0:
            yield Case(["poisson", 0, t1, 0, t2], {"ratio": None, "p": 1, "interval": [0, None]})
            continue
        test = stats.binomtest(x1, x1 + x2, t1 / (t1 + t2))
        ci = test.proportion_ci(0.95, "exact")
        over = lambda p: p / (1 - p) * t2 / t1 if p < 1 else None
        want = {
            "ratio": x1 / t1 / (x2 / t2) if x2 else None,
            "interval": [over(ci.low), over(ci.high)],
            "p": test.pvalue,
        }
        yield Case(["poisson", x1, t1, x2, t2], want, rel=1e-8)


@command("table")
def tables(rng):
    for _ in range(200):
        shape = rng.integers(2, 7, 2)
        table = rng.poisson(10 ** rng.uniform(0, 5), shape) + rng.integers(0, 2)
        table[0, 0] += 1
        table[1, 1] += 1
        kept = table[table.sum(1) > 0][:, table.sum(0) > 0]
        r = stats.chi2_contingency(kept, correction=False)
        want = {"chi2": r.statistic, "df": r.dof, "p": r.pvalue}
        yield Case(["table", "FILE"], want, csv_text([f"c{i}" for i in range(shape[1])], table), floor=1e-12)
    yield Case(["table", "FILE"], csv="a,b\n0,0\n1,2\n", refused=True)
    yield Case(["table", "FILE"], csv="a,b\n1,x\n1,2\n", refused=True)


@command("clustered")
def clusters(rng):
    for _ in range(200):
        groups = int(rng.integers(2, 5))
        rows, pieces = [], []
        for g in range(groups):
            m = int(rng.integers(3, 25))
            n = rng.integers(1, 40, m)
            x = rng.binomial(n, rng.beta(1.2, 4, m))
            x[0], n[0] = max(x[0], 1), max(n[0], x[0] + 1)
            pieces.append((n.astype(float), x.astype(float)))
            rows += [(f"g{g}", a, b) for a, b in zip(n, x)]
        yield Case(["clustered", "FILE"], by_cluster(pieces), csv_text(["group", "n", "x"], rows))
    yield Case(
        ["clustered", "FILE"],
        {"rao_scott_chi2": None, "icc": None, "donner_chi2": None, "p": None},
        "group,n,x\na,1,0\nb,1,1\n",
    )
    # one heat proves nothing against three
    yield Case(
        ["clustered", "FILE"],
        {"rao_scott_chi2": None, "p": None, "donner_chi2": None, "donner_p": None},
        "group,n,x\na,60,20\nb,60,1\nb,60,2\nb,60,0\n",
    )
    yield Case(["clustered", "FILE"], csv="group,n,x\na,10,3\na,10,4\n", refused=True)
    yield Case(["clustered", "FILE"], csv="group,n,x\na,10,3\nb,10,14\n", refused=True)


def by_cluster(pieces):
    """The formulas of Rao and Scott 1992 and of Donner and Klar 2000, written out again."""
    sizes = np.array([n.sum() for n, _ in pieces])
    share = np.array([x.sum() / n.sum() for n, x in pieces])
    effects = np.array([
        n.sum() * len(n) / (len(n) - 1) / n.sum() ** 2 * ((x - n * p) ** 2).sum() / (p * (1 - p))
        for (n, x), p in zip(pieces, share)
    ])
    table = np.array([[s * p / d, s * (1 - p) / d] for s, p, d in zip(sizes, share, effects)])
    rao = stats.chi2_contingency(table, correction=False)
    total, count = sizes.sum(), sum(len(n) for n, _ in pieces)
    msc = sum((n * (x / n - p) ** 2).sum() for (n, x), p in zip(pieces, share)) / (count - len(pieces))
    msw = sum((n * (x / n) * (1 - x / n)).sum() for n, x in pieces) / (total - count)
    m0 = (total - sum((n**2).sum() / n.sum() for n, _ in pieces)) / (count - len(pieces))
    icc = (msc - msw) / (msc + (m0 - 1) * msw)
    factor = np.array([(n * (1 + (n - 1) * max(icc, 0))).sum() / n.sum() for n, _ in pieces])
    overall = (sizes * share).sum() / total
    donner = (sizes * (share - overall) ** 2 / factor).sum() / (overall * (1 - overall))
    df = len(pieces) - 1
    return {
        "rao_scott_chi2": rao.statistic,
        "df": df,
        "p": rao.pvalue,
        "design_effects": {f"g{i}": d for i, d in enumerate(effects)},
        "icc": icc,
        "donner_chi2": donner,
        "donner_p": stats.chi2.sf(donner, df),
    }


@command("strata")
def strata(rng):
    for _ in range(200):
        k = int(rng.integers(2, 9))
        tables = rng.poisson(10 ** rng.uniform(0.3, 3), (k, 2, 2)) + 1
        conf = rng.choice([0.9, 0.95])
        s = contingency_tables.StratifiedTable([t.astype(float) for t in tables])
        plain, corrected = s.test_null_odds(correction=False), s.test_null_odds(correction=True)
        equal = s.test_equal_odds(adjust=False)
        want = {
            "mh_odds_ratio": s.oddsratio_pooled,
            "mh_interval": list(s.oddsratio_pooled_confint(1 - conf)),
            "cmh_chi2": plain.statistic,
            "cmh_p": plain.pvalue,
            "breslow_day_chi2": equal.statistic,
            "breslow_day_p": equal.pvalue,
        }
        off = abs((tables[:, 0, 0] - tables[:, 0].sum(1) * tables[:, :, 0].sum(1) / tables.sum((1, 2))).sum())
        if off > 0.5:
            # closer than ½ the reference corrects beyond 0; there the figure is 0
            want.update(cmh_chi2_corrected=corrected.statistic, cmh_p_corrected=corrected.pvalue)
        # the reference takes small differences of large cells
        rels = {key: 1e-6 for key in want if key.startswith(("cmh", "breslow"))}
        rows = tables.reshape(k, 4)
        yield Case(["strata", "FILE", "--conf", conf], want, csv_text(list("abcd"), rows), rels=rels, floor=1e-10)
    none = {"mh_odds_ratio": None, "mh_interval": None, "cmh_chi2": None, "breslow_day_chi2": None}
    yield Case(["strata", "FILE"], none, "a,b,c,d\n0,0,0,0\n")
    yield Case(["strata", "FILE"], csv="a,b,c\n1,2,3\n", refused=True)


@command("trend")
def trends(rng):
    for _ in range(200):
        k = int(rng.integers(2, 9))
        n = rng.integers(1, int(10 ** rng.uniform(1, 5)), k)
        x = rng.binomial(n, rng.beta(1, 2, k))
        score = np.round(np.cumsum(rng.uniform(0.1, 3, k)) * rng.choice([1, 100, 0.01]), 5)
        if not 0 < x.sum() < n.sum():
            want = {"z": None, "chi2": None, "p": None}
        else:
            # N times the squared correlation of score and mark, piece by piece
            w = np.concatenate([x, n - x]).astype(float)
            s = np.concatenate([score, score])
            y = np.concatenate([np.ones(k), np.zeros(k)])
            s, y = s - np.average(s, weights=w), y - np.average(y, weights=w)
            r = (w * s * y).sum() / np.sqrt((w * s * s).sum() * (w * y * y).sum())
            z = r * np.sqrt(w.sum())
            want = {"z": z, "chi2": z * z, "p": stats.chi2.sf(z * z, 1)}
        rows = zip(score, x, n)
        yield Case(["trend", "FILE"], want, csv_text(["score", "x", "n"], rows), rel=1e-8, floor=1e-10)
    yield Case(["trend", "FILE"], {"z": None}, "score,x,n\n1,2,5\n1,3,5\n")


@command("kappa")
def cohen(rng):
    for _ in range(200):
        k = int(rng.integers(2, 7))
        table = rng.poisson(10 ** rng.uniform(-0.3, 3), (k, k)) + np.diag(rng.poisson(20, k)) + 1
        table[rng.integers(0, k), :] -= 1
        kappa = lambda wt: inter_rater.cohens_kappa(table, wt=wt).kappa
        want = {
            "kappa": kappa(None),
            "kappa_linear": kappa("linear"),
            "kappa_quadratic": kappa("quadratic"),
        }
        header = [f"c{i}" for i in range(k)]
        yield Case(["kappa", "--cohen", "FILE"], want, csv_text(header, table), floor=1e-12)
    yield Case(["kappa", "--cohen", "FILE"], {"kappa": None}, "a,b\n5,0\n0,0\n")
    yield Case(["kappa", "--cohen", "FILE"], csv="a,b\n5,0\n", refused=True)


@command("kappa")
def fleiss(rng):
    for _ in range(150):
        k, readers = int(rng.integers(2, 7)), int(rng.integers(2, 9))
        counts = np.array([rng.multinomial(readers, rng.dirichlet(np.full(k, 0.4))) for _ in range(rng.integers(2, 40))])
        if (counts.sum(0) > 0).sum() < 2:
            continue
        header = [f"c{i}" for i in range(k)]
        want = {"kappa": inter_rater.fleiss_kappa(counts)}
        yield Case(["kappa", "--fleiss", "FILE"], want, csv_text(header, counts), floor=1e-12)
    yield Case(["kappa", "--fleiss", "FILE"], {"kappa": None}, "a,b\n3,0\n3,0\n")
    yield Case(["kappa", "--fleiss", "FILE"], csv="a,b\n3,0\n2,0\n", refused=True)


@command("fdr")
def discoveries(rng):
    for _ in range(150):
        p = np.round(rng.uniform(0, 1, rng.integers(1, 60)) ** rng.choice([1, 3, 8]), 8)
        want = {"q": list(multitest.multipletests(p, method="fdr_bh")[1])}
        yield Case(["fdr", *(f"{v:.8f}" for v in p)], want, rel=1e-12)
    yield Case(["fdr", 0.5, 1.2], refused=True)
    yield Case(["fdr", "nan"], refused=True)
