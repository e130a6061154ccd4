"""Measured values in groups. Tolerances: 1e-9 unless a reason stands beside a looser one."""

import numpy as np
from compare_calc import Case, command, csv_text
from scipy import stats


def draw_groups(rng, least=1):
    """Groups of unequal sizes, at many scales, some rounded so that ties occur."""
    scale, place = 10 ** rng.uniform(-6, 6), rng.choice([0, 1, 100])
    groups = []
    for _ in range(rng.integers(2, 8)):
        size = int(rng.integers(least, 30))
        values = scale * (place + rng.normal(0, 0.5) + rng.normal(0, rng.uniform(0.5, 2), size))
        groups.append(values)
    if rng.uniform() < 0.4:
        groups = [np.round(g / scale, 1) for g in groups]
    return groups


def rows_of(groups):
    return csv_text(["group", "value"], [(f"g{i}", v) for i, g in enumerate(groups) for v in g])


def constant(groups):
    return all(len(set(g)) < 2 for g in groups)


@command("summary")
def summaries(rng):
    for _ in range(200):
        y = rng.normal(rng.choice([0, 1, 1e3, 1e6]), 10 ** rng.uniform(-3, 3), rng.integers(2, 300))
        wide = y.astype(np.longdouble)
        off = wide - wide.mean()
        off -= off.mean()
        want = {
            "n": len(y),
            "mean": float(wide.mean()),
            "sd": float(np.sqrt((off**2).sum() / (len(y) - 1))),
            "lag1": float((off[1:] * off[:-1]).sum() / (off**2).sum()),
        }
        # an autocorrelation near 0 is a small difference
        yield Case(["summary", "FILE"], want, csv_text(["y"], [[v] for v in y]), rel=1e-11, floor=1e-12)
    yield Case(["summary", "FILE"], {"n": 1, "mean": 3, "sd": None, "lag1": None}, "y\n3\n")
    yield Case(["summary", "FILE"], {"mean": 0.1, "sd": 0, "lag1": None}, "y\n0.1\n0.1\n0.1\n")
    yield Case(["summary", "FILE", "--y", "z"], {"mean": 2}, "y,z\nx,1\nx,3\n")
    yield Case(["summary", "FILE"], csv="y\n1\nNaN\n", refused=True)


@command("anova")
def one_way(rng):
    for _ in range(200):
        groups = draw_groups(rng)
        n, k = sum(map(len, groups)), len(groups)
        if n == k or constant(groups):
            yield Case(["anova", "FILE"], {"f": None, "p": None}, rows_of(groups))
            continue
        wide = [g.astype(np.longdouble) for g in groups]
        middle = np.concatenate(wide).mean()
        between = sum(len(g) * (g.mean() - middle) ** 2 for g in wide) / (k - 1)
        within = sum(((g - g.mean()) ** 2).sum() for g in wide) / (n - k)
        f = float(between / within)
        want = {"f": f, "p": stats.f.sf(f, k - 1, n - k), "df_between": k - 1, "df_within": n - k}
        want.update(ms_between=float(between), ms_within=float(within))
        yield Case(["anova", "FILE"], want, rows_of(groups), floor=0)
    yield Case(["anova", "FILE"], csv="group,value\na,1\na,2\n", refused=True)
    yield Case(["anova", "FILE"], {"f": None, "ms_within": 0}, "group,value\na,0.1\na,0.1\nb,0.1\nb,0.1\n")


@command("kruskal")
def kruskal(rng):
    for _ in range(200):
        groups = draw_groups(rng)
        r = stats.kruskal(*groups)
        want = {"statistic": r.statistic, "df": len(groups) - 1, "p": r.pvalue}
        yield Case(["kruskal", "FILE"], want, rows_of(groups), floor=1e-12)
    yield Case(["kruskal", "FILE"], {"statistic": None, "p": None}, "group,value\na,1\na,1\nb,1\n")


@command("bartlett")
def bartlett(rng):
    for _ in range(200):
        groups = draw_groups(rng, least=2)
        if any(len(set(g)) < 2 for g in groups):
            yield Case(["bartlett", "FILE"], {"statistic": None}, rows_of(groups))
            continue
        r = stats.bartlett(*groups)
        want = {"statistic": r.statistic, "df": len(groups) - 1, "p": r.pvalue}
        yield Case(["bartlett", "FILE"], want, rows_of(groups), floor=1e-10)
    yield Case(["bartlett", "FILE"], csv="group,value\na,1\nb,2\nb,3\n", refused=True)


@command("levene")
def levene(rng):
    for _ in range(200):
        groups = draw_groups(rng, least=2)
        r = stats.levene(*groups, center="median")
        n, k = sum(map(len, groups)), len(groups)
        if not np.isfinite(r.statistic):
            continue
        want = {"statistic": r.statistic, "df_between": k - 1, "df_within": n - k, "p": r.pvalue}
        yield Case(["levene", "FILE"], want, rows_of(groups), rel=1e-8, floor=1e-11)
    yield Case(["levene", "FILE"], {"statistic": None, "p": None}, "group,value\na,1\na,1\nb,1\nb,1\n")


@command("gauge")
def gauges(rng):
    for _ in range(200):
        p, o, r = (int(v) for v in rng.integers(2, 8, 3))
        cell = rng.normal(0, rng.uniform(0, 3), (p, 1, 1)) + rng.normal(0, rng.uniform(0, 1), (1, o, 1))
        y = cell + rng.normal(0, rng.uniform(0, 1), (p, o, 1)) + rng.normal(0, 0.5, (p, o, r)) + 30
        rows = [(f"p{i}", f"o{j}", y[i, j, k]) for i in range(p) for j in range(o) for k in range(r)]
        rows = [rows[i] for i in rng.permutation(len(rows))]
        yield Case(["gauge", "FILE"], components(y.astype(np.longdouble)), csv_text(["part", "person", "value"], rows), floor=1e-11)
    yield Case(["gauge", "FILE"], csv="part,person,value\n1,a,1\n1,b,2\n2,a,3\n2,b,4\n", refused=True)
    yield Case(["gauge", "FILE"], csv="part,person,value\n1,a,1\n1,a,1\n1,b,2\n2,a,3\n2,b,4\n", refused=True)


def components(y):
    """Two-way analysis of variance with interaction, components by the method of moments."""
    p, o, r = y.shape
    mean, part, person, cell = y.mean(), y.mean((1, 2)), y.mean((0, 2)), y.mean(2)
    ms_part = o * r * ((part - mean) ** 2).sum() / (p - 1)
    ms_person = p * r * ((person - mean) ** 2).sum() / (o - 1)
    odd = cell - part[:, None] - person[None, :] + mean
    ms_odd = r * (odd**2).sum() / ((p - 1) * (o - 1))
    error = ((y - cell[:, :, None]) ** 2).sum() / (p * o * (r - 1))
    cut = lambda v: max(float(v), 0.0)
    want = {
        "repeatability": float(error),
        "reproducibility": cut((ms_person - ms_odd) / (p * r)),
        "interaction": cut((ms_odd - error) / r),
        "part": cut((ms_part - ms_odd) / (o * r)),
    }
    want["total"] = sum(want.values())
    want["share"] = {key: v / want["total"] for key, v in want.items()}
    return want
