"""Control charts, run rules, run lengths, constants, capability, tolerance factors. Everything is written out
from its definition here. Tolerances: 1e-9 unless a reason stands beside a looser one."""

import functools

import numpy as np
from compare_calc import Case, command, csv_text
from scipy import sparse, special, stats
from scipy.sparse import linalg  # noqa: F401  (sparse.linalg is a module of its own)

SLACK = 1e-9


def line(values, varies):
    """One number where the sizes do not vary, else a list, as `calc` prints it."""
    return [float(v) for v in values] if varies else float(values[0])


def beyond(points, lower, upper):
    found = []
    for i, (p, lo, hi) in enumerate(zip(points, lower, upper)):
        if p > hi + SLACK * abs(hi) or p < lo - SLACK * abs(lo):
            found.append({"index": i + 1, "rule": "beyond_limits"})
    return found


def chart(points, centre, lower, upper, centre_varies=False, varies=False):
    want = {"centre": line(centre, centre_varies), "lower": line(lower, varies), "upper": line(upper, varies)}
    return want | {"points": list(points), "signals": beyond(points, lower, upper)}


def shewhart(points, centre, error, sizes=(1,), floor=0.0):
    """Limits three standard errors away; the centre is a list where it was given as one, for sizes that vary."""
    varies, count = len(set(sizes)) > 1, len(points)
    listed = varies and np.ndim(centre) > 0
    centre, error = np.broadcast_to(centre, count), np.broadcast_to(error, count)
    return chart(points, centre, np.maximum(centre - 3 * error, floor), centre + 3 * error, listed, varies)


def draw_sizes(rng, m):
    return np.full(m, rng.integers(5, 400)) if rng.uniform() < 0.3 else rng.integers(5, 400, m)


@command("chart")
def shares(rng):
    for _ in range(120):
        m = int(rng.integers(2, 60))
        n = draw_sizes(rng, m)
        x = rng.binomial(n, np.clip(rng.beta(2, 10) + rng.normal(0, 0.05, m), 0, 1))
        p = x.sum() / n.sum()
        text = csv_text(["x", "n"], zip(x, n))
        error = np.sqrt(p * (1 - p) / n)
        yield Case(["chart", "--type", "p", "FILE"], shewhart(x / n, p, error, n), text)
        yield Case(["chart", "--type", "np", "FILE"], shewhart(x.astype(float), n * p, n * error, n), text)
        if 0 < p < 1:
            z = (x / n - p) / error
            sigma_z = np.abs(np.diff(z)).mean() / 1.128
            want = shewhart(x / n, p, error * sigma_z, n) | {"sigma_z": sigma_z}
            # sigma_z of nearly equal points is a small difference
            yield Case(["chart", "--type", "p-prime", "FILE"], want, text, floor=1e-12)
    yield Case(["chart", "--type", "p", "FILE"], {"centre": 0, "upper": 0, "signals": []}, "n,x\n5,0\n5,0\n")
    yield Case(["chart", "--type", "p", "FILE"], csv="n,x\n5,0\n0,0\n", refused=True)
    yield Case(["chart", "--type", "p", "FILE"], csv="n,x\n5,6\n9,0\n", refused=True)
    yield Case(["chart", "--type", "p-prime", "FILE"], csv="n,x\n5,0\n5,0\n", refused=True)
    yield Case(["chart", "--type", "p-prime", "FILE"], csv="n,x\n5,1\n", refused=True)


@command("chart")
def rates(rng):
    for _ in range(120):
        m = int(rng.integers(2, 60))
        units = np.round(rng.uniform(0.5, 20, m), 2)
        if rng.uniform() < 0.3:
            units[:] = units[0]
        x = rng.poisson(units * np.clip(rng.gamma(2, 2) + rng.normal(0, 0.5, m), 0.01, None))
        c, u = x.mean(), x.sum() / units.sum()
        text = csv_text(["x", "units"], zip(x, units))
        yield Case(["chart", "--type", "c", "FILE"], shewhart(x.astype(float), c, np.sqrt(c)), text)
        yield Case(["chart", "--type", "u", "FILE"], shewhart(x / units, u, np.sqrt(u / units), units), text)
        if x.sum():
            error = np.sqrt(u / units)
            sigma_z = np.abs(np.diff((x / units - u) / error)).mean() / 1.128
            want = shewhart(x / units, u, error * sigma_z, units) | {"sigma_z": sigma_z}
            yield Case(["chart", "--type", "u-prime", "FILE"], want, text, floor=1e-12)
    yield Case(["chart", "--type", "u", "FILE"], csv="x,units\n1,0\n", refused=True)
    yield Case(["chart", "--type", "c", "FILE"], csv="x\n-1\n", refused=True)


@command("chart")
def individuals(rng):
    for _ in range(100):
        x = rng.normal(rng.choice([0, 50, 1e4]), 10 ** rng.uniform(-2, 2), rng.integers(2, 80))
        mr = np.abs(np.diff(x))
        sigma = mr.mean() / 1.128
        upper = np.full(len(mr), 3.267 * mr.mean())
        want = {
            "individual": shewhart(x, x.mean(), sigma, floor=-np.inf),
            "moving_range": chart(mr, mr * 0 + mr.mean(), mr * 0, upper),
        }
        yield Case(["chart", "--type", "i-mr", "FILE"], want, csv_text(["x"], [[v] for v in x]), floor=1e-11)
    yield Case(["chart", "--type", "i-mr", "FILE"], csv="x\n1\n", refused=True)
    yield Case(["chart", "--type", "i-mr", "FILE"], {"individual": {"upper": 2, "lower": 2, "signals": []}}, "x\n2\n2\n")


@functools.cache
def range_moments(n):
    """d2 and d3 from the distribution of the range, F(r) = n ∫ φ(x) (Φ(x+r) - Φ(x))^(n-1) dx: the trapezoid rule in
    x, which is exact for such functions, and Gauss-Legendre in r."""
    x = np.linspace(-13, 13, 1041)
    node, weight = np.polynomial.legendre.leggauss(120)
    r, weight = 12 * (node + 1), 12 * weight
    # the difference of two tails keeps its digits
    gap = np.where(
        x[:, None] > 0, stats.norm.sf(x)[:, None] - stats.norm.sf(x[:, None] + r), stats.norm.cdf(x[:, None] + r) - stats.norm.cdf(x)[:, None]
    )
    f = (n * stats.norm.pdf(x)[:, None] * gap ** (n - 1)).sum(0) * (x[1] - x[0])
    d2 = (weight * (1 - f)).sum()
    return d2, np.sqrt((2 * weight * r * (1 - f)).sum() - d2**2)


def deviation_moments(n):
    c4 = np.sqrt(2 / (n - 1)) * np.exp(special.gammaln(n / 2) - special.gammaln((n - 1) / 2))
    return c4, np.sqrt(1 - c4**2)


@command("constants")
def constants(rng):
    sizes = list(range(2, 26)) + sorted(set(rng.integers(26, 1200, 12)))
    for n in map(int, sizes):
        (d2, d3), (c4, c5) = range_moments(n), deviation_moments(n)
        want = {"d2": d2, "d3": d3, "c4": c4, "A2": 3 / d2 / np.sqrt(n), "A3": 3 / c4 / np.sqrt(n)}
        want |= {"D3": max(0, 1 - 3 * d3 / d2), "D4": 1 + 3 * d3 / d2}
        want |= {"B3": max(0, 1 - 3 * c5 / c4), "B4": 1 + 3 * c5 / c4}
        # differences of log-gammas in the reference lose digits with n, and c5 the square root of what is left
        yield Case(["constants", n], want, rel=1e-9, rels={k: 3e-9 for k in ("B3", "B4", "c4")})
    yield Case(["constants", 1], refused=True)
    yield Case(["constants", 10**10], refused=True)


@command("chart")
def grouped(rng):
    for _ in range(80):
        k = int(rng.integers(2, 25))
        sizes = np.full(k, rng.integers(2, 9)) if rng.uniform() < 0.5 else rng.integers(2, 9, k)
        groups = [rng.normal(rng.choice([0, 20]), 1, n) + rng.normal(0, 0.4) for n in sizes]
        text = csv_text(["group", "value"], [(f"g{i}", v) for i, g in enumerate(groups) for v in g])
        means, middle = np.array([g.mean() for g in groups]), np.concatenate(groups).mean()
        for kind, spreads, moments in [
            ("xbar-r", [np.ptp(g) for g in groups], range_moments),
            ("xbar-s", [g.std(ddof=1) for g in groups], deviation_moments),
        ]:
            m, s = np.array([moments(int(n)) for n in sizes]).T
            spreads = np.array(spreads)
            # the estimate of least variance: weights 1/var(spread/m) = (m/s)^2
            sigma = np.average(spreads / m, weights=(m / s) ** 2)
            want = {
                "mean": shewhart(means, middle, sigma / np.sqrt(sizes), sizes, -np.inf),
                "spread": shewhart(spreads, m * sigma, s * sigma, sizes),
                "sigma": sigma,
            }
            yield Case(["chart", "--type", kind, "FILE"], want, text, floor=1e-9)
    yield Case(["chart", "--type", "xbar-r", "FILE"], csv="group,value\na,1\nb,2\n", refused=True)
    yield Case(["chart", "--type", "xbar-s", "FILE"], csv="group,value\na,1\na,2\n", refused=True)


@command("chart")
def remembering(rng):
    for _ in range(100):
        x = rng.normal(0, 1, rng.integers(1, 120)).cumsum() * 0.2 + rng.normal(0, 1)
        target, sigma = np.round(rng.normal(0, 1), 2), np.round(rng.uniform(0.2, 3), 2)
        lam, width = np.round(rng.uniform(0.02, 1), 3), np.round(rng.uniform(2, 3.5), 2)
        text = csv_text(["x"], [[v] for v in x])
        z = np.array([target * (1 - lam) ** i + sum(lam * (1 - lam) ** (i - 1 - j) * x[j] for j in range(i)) for i in range(1, len(x) + 1)])
        steady = width * sigma * np.sqrt(lam / (2 - lam))
        exact = steady * np.sqrt(1 - (1 - lam) ** (2 * np.arange(1, len(x) + 1)))
        options = ["--target", target, "--sigma", sigma, "--lambda", lam, "--width", width]
        want = {"points": list(z), "lower": list(target - exact), "upper": list(target + exact)}
        want["signals"] = beyond(z, target - exact, target + exact)
        yield Case(["chart", "--type", "ewma", "FILE", *options], want, text, floor=1e-12)
        limits = np.full(len(x), target - steady), np.full(len(x), target + steady)
        want = {"points": list(z), "lower": target - steady, "upper": target + steady, "signals": beyond(z, *limits)}
        yield Case(["chart", "--type", "ewma", "FILE", "--steady", *options], want, text, floor=1e-12)
        k, h = np.round(rng.uniform(0, 1), 2), np.round(rng.uniform(0, 6), 2)
        # the sum is the height of the path above its lowest point so far
        walks = [np.concatenate([[0], np.cumsum(s * (x - target) - k * sigma)]) for s in (1, -1)]
        up, down = [(w - np.minimum.accumulate(w))[1:] for w in walks]
        found = [{"index": i + 1, "rule": "above"} for i in range(len(x)) if up[i] > h * sigma * (1 + SLACK)]
        found += [{"index": i + 1, "rule": "below"} for i in range(len(x)) if down[i] > h * sigma * (1 + SLACK)]
        want = {"upper_sums": list(up), "lower_sums": list(down)}
        if h > 0:
            want["signals"] = sorted(found, key=lambda s: (s["index"], s["rule"]))
        options = ["--target", target, "--sigma", sigma, "--k", k, "--h", h]
        yield Case(["chart", "--type", "cusum", "FILE", *options], want, text, floor=1e-11)
    for lam in ("0", "1.1", "-1", "nan"):
        options = ["--target", 0, "--sigma", 1, "--lambda", lam, "--width", 3]
        yield Case(["chart", "--type", "ewma", "FILE", *options], csv="x\n1\n", refused=True)
    yield Case(["chart", "--type", "ewma", "FILE", "--lambda", 0.2, "--width", 3], csv="x\n1\n", refused=True)


def run_rules(z):
    """The eight tests, each as a sentence about the window that ends at the point."""
    found = []
    side = lambda w, limit: all(v > limit for v in w) or all(v < -limit for v in w)

    def some(window, limit, enough):
        last = window[-1]
        if abs(last) <= limit:
            return False
        return sum(v * np.sign(last) > limit for v in window) >= enough

    for i in range(1, len(z) + 1):
        last = lambda n: z[i - n : i] if i >= n else None
        steps = lambda n: np.diff(last(n)) if i >= n else None
        up_to = lambda n: z[max(0, i - n) : i]
        tests = [
            ("beyond_3_sigma", abs(z[i - 1]) > 3),
            ("9_on_one_side", i >= 9 and side(last(9), 0)),
            ("6_rising_or_falling", i >= 6 and side(steps(6), 0)),
            ("14_alternating", i >= 14 and all(steps(14)[1:] * steps(14)[:-1] < 0)),
            ("2_of_3_beyond_2_sigma", some(up_to(3), 2, 2)),
            ("4_of_5_beyond_1_sigma", some(up_to(5), 1, 4)),
            ("15_within_1_sigma", i >= 15 and all(abs(v) < 1 for v in last(15))),
            ("8_outside_1_sigma", i >= 8 and all(abs(v) > 1 for v in last(8))),
        ]
        found += [{"index": i, "rule": name} for name, holds in tests if holds]
    return found


@command("rules")
def rules(rng):
    for _ in range(120):
        m = int(rng.integers(1, 120))
        kind = rng.integers(0, 5)
        z = rng.normal(0, [1, 0.4, 2, 1, 1][kind], m)
        if kind == 3:
            z = z.cumsum() * 0.5
        if kind == 4:
            z = np.abs(z) * (-1) ** np.arange(m)
        # on a grid, so that ties and points on borders occur
        z = np.round(z * 4) / 4
        yield Case(["rules", "FILE"], {"signals": run_rules(z)}, csv_text(["z"], [[v] for v in z]))
    yield Case(["rules", "FILE"], csv="z\nx\n", refused=True)


def nystrom_ewma(lam, width, shift):
    limit = width * np.sqrt(lam / (2 - lam))
    node, weight = np.polynomial.legendre.leggauss(401)
    z, weight = limit * node, limit * weight
    kernel = stats.norm.pdf((z[None, :] - (1 - lam) * z[:, None]) / lam - shift) / lam * weight
    length = np.linalg.solve(np.eye(len(z)) - kernel, np.ones(len(z)))
    return 1 + (stats.norm.pdf(z / lam - shift) / lam * weight) @ length


def nystrom_cusum(k, h, shift, start=0.0):
    node, weight = np.polynomial.legendre.leggauss(201)
    s, weight = h / 2 * (node + 1), h / 2 * weight
    at = np.concatenate([[0], s])
    kernel = np.column_stack([stats.norm.cdf(k - shift - at), stats.norm.pdf(s[None, :] + k - shift - at[:, None]) * weight])
    length = np.linalg.solve(np.eye(len(at)) - kernel, np.ones(len(at)))
    return 1 + stats.norm.cdf(k - shift - start) * length[0] + (stats.norm.pdf(s + k - shift - start) * weight) @ length[1:]


@command("arl")
def run_lengths(rng):
    for _ in range(60):
        width, shift = np.round(rng.uniform(0, 6), 3), np.round(rng.uniform(-4, 4), 3)
        arl = 1 / (stats.norm.sf(width - shift) + stats.norm.cdf(-width - shift))
        yield Case(["arl", "--type", "shewhart", "--width", width, "--shift", shift], {"arl": arl}, rel=1e-12)
    for _ in range(60):
        lam, width = np.round(rng.uniform(0.03, 0.95), 3), np.round(rng.uniform(1, 4), 3)
        shift = np.round(rng.choice([0, 0, rng.uniform(-3, 3)]), 3)
        # the reference loses as many digits as the run length has
        arl = nystrom_ewma(lam, width, shift)
        options = ["--type", "ewma", "--lambda", lam, "--width", width, "--shift", shift]
        yield Case(["arl", *options], {"arl": arl}, rel=max(1e-9, 1e-14 * arl))
    for _ in range(60):
        k, h = np.round(rng.uniform(0, 1), 3), np.round(rng.uniform(0.5, 7), 3)
        shift = np.round(rng.choice([0, rng.uniform(-0.3, 3)]), 3)
        one, other = nystrom_cusum(k, h, shift), nystrom_cusum(k, h, -shift)
        options = ["arl", "--type", "cusum", "--k", k, "--h", h, "--shift", shift]
        loose = max(1e-9, 1e-13 * one)
        yield Case(options, {"arl": one}, rel=loose)
        head = nystrom_cusum(k, h, shift, h / 2)
        yield Case([*options, "--headstart"], {"arl": head}, rel=loose)
        yield Case([*options, "--headstart", repr(float(h / 2))], {"arl": head}, rel=loose)
        # a side that hardly ever signals is beyond the reference
        if 0 < other < 1e9:
            yield Case([*options, "--two-sided"], {"arl": 1 / (1 / one + 1 / other)}, rel=max(1e-9, 1e-13 * other))
    for text in ("ewma --lambda 0 --width 3", "ewma --lambda 0.2 --width 40", "cusum --k 0.5 --h 400", "cusum --k -1 --h 4"):
        yield Case(["arl", "--type", *text.split()], refused=True)


@command("arl")
def two_sides_with_a_headstart(rng):
    """Against simulation: 100,000 charts, so that the mean is good to about 0.3 %; held to five standard errors."""
    for k, h, shift in [(0.5, 4.0, 0.0), (0.5, 4.0, 0.5), (0.5, 4.0, 1.0), (0.25, 5.0, 0.25)]:
        runs = 100_000
        up, down = np.full(runs, h / 2), np.full(runs, h / 2)
        lengths, alive, step = np.zeros(runs), np.arange(runs), 0
        while len(alive):
            step += 1
            x = rng.normal(shift, 1, len(alive))
            up, down = np.maximum(0, up + x - k), np.maximum(0, down - x - k)
            out = (up > h) | (down > h)
            lengths[alive[out]] = step
            up, down, alive = up[~out], down[~out], alive[~out]
        room = 5 * lengths.std() / np.sqrt(runs) / lengths.mean()
        options = ["--k", k, "--h", h, "--shift", shift, "--two-sided", "--headstart"]
        yield Case(["arl", "--type", "cusum", *options], {"arl": lengths.mean()}, rel=room)


def both_sums(k, h, shift, start, m):
    """Steps until one of two sums signals, by a chain whose states are both sums in cells of h (after Brook and Evans
    1972, Biometrika 59:539, who have one sum): no formula puts two one-sided lengths together here."""
    w, number, states = 2 * h / (2 * m - 1), {}, []

    def moves(up, down):
        # the step x takes the rising sum to cell i up to edges_up[i], the falling one to cell j from edges_down[j] on
        edges_up, edges_down = (np.arange(m) + 0.5) * w - up + k, down - k - (np.arange(m) + 0.5) * w
        low, high = edges_down[-1], edges_up[-1]
        if low >= high:
            return []
        at = np.concatenate([edges_up, edges_down])
        at = np.unique(np.concatenate([[low, high], at[(at > low) & (at < high)]]))
        chance, middle = np.diff(stats.norm.cdf(at - shift)), (at[1:] + at[:-1]) / 2
        cells = zip(np.searchsorted(edges_up, middle), np.searchsorted(-edges_down, -middle))
        return [(state(c), p) for c, p in zip(cells, chance) if p > 0]

    def state(cell):
        if cell not in number:
            number[cell] = len(states)
            states.append(cell)
        return number[cell]

    first, entries, done = moves(start, start), [], 0
    while done < len(states):
        i, j = states[done]
        entries += [(done, to, p) for to, p in moves(i * w, j * w)]
        done += 1
    rows, columns, chances = zip(*entries)
    chain = sparse.csc_matrix((chances, (rows, columns)), shape=(done, done))
    steps = sparse.linalg.spsolve(sparse.identity(done, format="csc") - chain, np.ones(done))
    return 1 + sum(p * steps[to] for to, p in first)


@command("arl")
def two_sides_as_one_chain(rng):
    """Small and large shifts, both ways; extrapolated from two widths of cell, which leaves some 1e-4."""
    for k, h in ((0.5, 5.0), (0.25, 8.0), (1.0, 2.0)):
        for shift in (0.0, 1.0, -1.0, 3.0, -4.0, 6.0):
            for start in (0.0, h / 2):
                coarse, fine = both_sums(k, h, shift, start, 20), both_sums(k, h, shift, start, 40)
                times = (79 / 39) ** 2
                options = ["--k", k, "--h", h, f"--shift={shift}", "--two-sided", "--headstart", start]
                yield Case(["arl", "--type", "cusum", *options], {"arl": (times * fine - coarse) / (times - 1)}, rel=2e-3)


def capable(mean, sd, n, df, lower, upper, conf):
    cp = (upper - lower) / (6 * sd)
    cpk = min(upper - mean, mean - lower) / (3 * sd)
    ends = [cp * np.sqrt(stats.chi2.ppf(q, df) / df) for q in (0.5 - conf / 2, 0.5 + conf / 2)]
    half = stats.norm.ppf(0.5 + conf / 2) * np.sqrt(1 / (9 * n) + cpk**2 / (2 * df))
    return {"cp": cp, "cpk": cpk, "cp_interval": ends, "cpk_interval": [cpk - half, cpk + half]}


@command("capability")
def capability(rng):
    for _ in range(100):
        mean, sd, n = np.round(rng.normal(5, 3), 3), np.round(rng.uniform(0.1, 3), 3), int(rng.integers(2, 500))
        lower, upper = np.round(rng.uniform(-9, 4), 2), np.round(rng.uniform(5, 20), 2)
        conf = rng.choice([0.9, 0.95, 0.99])
        options = ["--lower", lower, "--upper", upper, "--conf", conf]
        want = capable(mean, sd, n, n - 1, lower, upper, conf)
        yield Case(["capability", "--mean", mean, "--sd", sd, "--n", n, *options], want)
        groups = [rng.normal(mean + rng.normal(0, 1), sd, rng.integers(1, 9)) for _ in range(rng.integers(2, 12))]
        values = np.concatenate(groups)
        df = len(values) - len(groups)
        if df == 0:
            continue
        within = np.sqrt(sum(((g - g.mean()) ** 2).sum() for g in groups) / df)
        overall = capable(values.mean(), values.std(ddof=1), len(values), len(values) - 1, lower, upper, conf)
        more = {"pp": overall["cp"], "ppk": overall["cpk"]}
        want = capable(values.mean(), within, len(values), df, lower, upper, conf) | more
        text = csv_text(["group", "value"], [(f"g{i}", v) for i, g in enumerate(groups) for v in g])
        yield Case(["capability", "FILE", *options], want, text)
        yield Case(["capability", "FILE", *options], overall | more, csv_text(["value"], [[v] for v in values]))
    one = {"cp": None, "cp_interval": None, "cpk": 2 / 3}
    yield Case(["capability", "--mean", 16, "--sd", 2, "--n", 50, "--upper", 20], one)
    for sd, n in ((0, 9), (1, 1), (-1, 9)):
        yield Case(["capability", "--mean", 1, "--sd", sd, "--n", n, "--lower", 0, "--upper", 3], refused=True)


@command("tolerance")
def tolerance(rng):
    for _ in range(100):
        n = int(rng.choice([rng.integers(2, 10), rng.integers(10, 400)]))
        cover, sure = np.round(rng.uniform(0.5, 0.999), 3), np.round(rng.uniform(0.5, 0.999), 3)
        one = stats.nct.ppf(sure, n - 1, stats.norm.ppf(cover) * np.sqrt(n)) / np.sqrt(n)
        two = stats.norm.ppf(0.5 + cover / 2) * np.sqrt((n - 1) * (1 + 1 / n) / stats.chi2.ppf(1 - sure, n - 1))
        # the reference's quantile is searched to about 1e-8
        rels = {"k_one_sided": 1e-7}
        yield Case(["tolerance", "--n", n, "--coverage", cover, "--confidence", sure], {"k_one_sided": one, "k_two_sided": two}, rels=rels)
    yield Case(["tolerance", "--n", 1, "--coverage", 0.9, "--confidence", 0.9], refused=True)
    yield Case(["tolerance", "--n", 9, "--coverage", 1, "--confidence", 0.9], refused=True)
