"""Linear and logistic regression. Tolerances stand beside each."""

import warnings
from fractions import Fraction

import numpy as np
import statsmodels.api as sm
from compare_calc import Case, command, csv_text

warnings.filterwarnings("ignore")


@command("regress")
def polynomials(rng):
    """Powers, ill-conditioned on purpose, against exact fractions."""
    for _ in range(60):
        degree, n = int(rng.integers(1, 8)), int(rng.integers(12, 22))
        x = np.round(rng.uniform(-1, 1, n) * rng.choice([1, 20]) + rng.choice([0, 5, 100] if degree < 5 else [0, 5]), 3)
        y = np.round(rng.normal(0, 1, n) + 2 * x, 4)
        constant = rng.uniform() < 0.7
        first = 0 if constant else 1
        exact = [[Fraction(float(v)) ** k for v in x] for k in range(first, degree + 1)]
        want = fit_of(exact, y, constant)
        args = ["regress", "FILE", "--polynomial", degree] + ([] if constant else ["--no-constant"])
        yield Case(args, want, csv_text(["y", "x"], zip(y, x)), rel=1e-9, floor=0)


def fit_of(columns, y, constant):
    b, errors, sd, rss, about, squares = solve(columns, [Fraction(float(v)) for v in y])
    total = about if constant else squares
    return {"coefficients": b, "std_errors": errors, "residual_sd": sd, "r2": 1 - rss / total}


def solve(columns, y):
    """Least squares in fractions: coefficients, errors, residual sd, and the sums of squares."""
    p = len(columns)
    dot = lambda a, b: sum(u * v for u, v in zip(a, b))
    rows = [[dot(a, b) for b in columns] + [Fraction(int(i == j)) for j in range(p)] + [dot(a, y)] for i, a in enumerate(columns)]
    for i in range(p):
        best = max(range(i, p), key=lambda r: abs(rows[r][i]))
        rows[i], rows[best] = rows[best], rows[i]
        head = rows[i][i]
        rows[i] = [v / head for v in rows[i]]
        for r in range(p):
            if r != i and rows[r][i]:
                rows[r] = [a - rows[r][i] * b for a, b in zip(rows[r], rows[i])]
    b = [row[-1] for row in rows]
    rest = [v - sum(c[k] * w for c, w in zip(columns, b)) for k, v in enumerate(y)]
    rss = dot(rest, rest)
    mean = sum(y) / len(y)
    about = sum((v - mean) ** 2 for v in y)
    s2 = float(rss) / (len(y) - p)
    errors = [np.sqrt(s2 * float(rows[i][p + i])) for i in range(p)]
    return [float(v) for v in b], errors, np.sqrt(s2), float(rss), float(about), float(dot(y, y))


@command("regress")
def planes(rng):
    for _ in range(150):
        n, k = int(rng.integers(8, 80)), int(rng.integers(1, 6))
        x = rng.normal(0, 1, (n, k)) * 10 ** rng.uniform(-3, 3, k) + rng.choice([0, 10])
        y = x @ rng.normal(0, 1, k) + rng.normal(0, 1, n)
        fit = sm.OLS(y, sm.add_constant(x, has_constant="add")).fit()
        want = {
            "coefficients": list(fit.params),
            "std_errors": list(fit.bse),
            "residual_sd": np.sqrt(fit.scale),
            "r2": fit.rsquared,
        }
        header = ["y", *(f"x{i}" for i in range(k))]
        # the reference solves by a pseudo-inverse
        yield Case(["regress", "FILE"], want, csv_text(header, np.column_stack([y, x])), rel=1e-7, floor=1e-11)
    yield Case(["regress", "FILE"], csv="y,a,b\n1,1,2\n2,2,4\n3,4,8\n5,5,10\n", refused=True)
    yield Case(["regress", "FILE"], csv="y,a,b\n1,0.1,0.3\n2,0.2,0.6\n3,0.7,2.1\n5,1.3,3.9\n", refused=True)
    yield Case(["regress", "FILE"], csv="y,a\n1,1\n", refused=True)
    yield Case(["regress", "FILE"], {"r2": None}, "y,a\n2,1\n2,2\n2,4\n")
    yield Case(["regress", "FILE"], {"residual_sd": None, "std_errors": None}, "y,a\n1,1\n3,2\n")


def converged(model, **options):
    """The reference's fit, carried on until its weights are those of the estimate."""
    return model.fit(tol=1e-15, maxiter=60, **options)


@command("logistic")
def odds(rng):
    for _ in range(200):
        n, k = int(rng.integers(30, 150)), int(rng.integers(1, 4))
        x = rng.normal(0, 1, (n, k))
        eta = rng.normal(0, 0.7) + x @ rng.normal(0, 0.8, k)
        grouped = rng.uniform() < 0.5
        sizes = rng.integers(1, 50, n) if grouped else np.ones(n, int)
        y = rng.binomial(sizes, 1 / (1 + np.exp(-eta)))
        design = sm.add_constant(x, has_constant="add")
        fit = converged(sm.GLM(np.column_stack([y, sizes - y]), design, family=sm.families.Binomial()))
        if np.abs(fit.params).max() > 8 or not 0 < y.sum() < sizes.sum():
            continue
        want = {"coefficients": list(fit.params), "std_errors": list(fit.bse), "loglik": fit.llf, "deviance": fit.deviance}
        header = ["y", *(["n"] if grouped else []), *(f"x{i}" for i in range(k))]
        rows = np.column_stack([y, sizes, x]) if grouped else np.column_stack([y, x])
        text = csv_text(header, [[*(int(v) for v in row[: 1 + grouped]), *row[1 + grouped :]] for row in rows])
        yield Case(["logistic", "FILE"], want, text, rel=1e-7, floor=1e-9)
    yield Case(["logistic", "FILE"], csv="y,x\n0,1\n0,2\n1,3\n1,4\n", refused=True)
    yield Case(["logistic", "FILE"], csv="y,x\n0,1\n0,2\n1,2\n1,3\n1,4\n", refused=True)
    yield Case(["logistic", "FILE"], csv="y,x\n0,a\n0,a\n1,b\n0,b\n1,b\n", refused=True)
    yield Case(["logistic", "FILE"], csv="y,x\n0,1\n0,2\n0,5\n", refused=True)
    yield Case(["logistic", "FILE"], csv="y,x\n0,1\n1,2\n2,5\n", refused=True)


@command("logistic")
def categories(rng):
    for _ in range(60):
        n = 120
        metal = rng.choice(["new", "mixed", "revert"], n)
        code = rng.choice([2, 10, 9], n)
        mould = rng.integers(0, 15, n)
        eta = -0.5 + 0.8 * (metal == "revert") + 0.3 * (code == 10) + rng.normal(0, 0.5, 15)[mould]
        y = rng.binomial(1, 1 / (1 + np.exp(-eta)))
        # levels in the order of the alphabet, codes in the order of their numbers
        columns = [metal == "new", metal == "revert", code == 9, code == 10]
        design = sm.add_constant(np.column_stack(columns).astype(float), has_constant="add")
        model = sm.GLM(y, design, family=sm.families.Binomial())
        robust = rng.uniform() < 0.5
        keywords = {"groups": mould, "use_correction": False, "df_correction": False}
        fit = converged(model, cov_type="cluster", cov_kwds=keywords) if robust else converged(model)
        want = {"coefficients": list(fit.params), "std_errors": list(fit.bse), "loglik": fit.llf, "deviance": fit.deviance}
        want["terms"] = ["constant", "metal=new", "metal=revert", "code=9", "code=10"]
        header = ["y", "metal", "code", *(["mould"] if robust else [])]
        rows = zip(y, metal, code, mould) if robust else zip(y, metal, code)
        args = ["logistic", "FILE", "--category", "code", *(["--cluster", "mould"] if robust else [])]
        yield Case(args, want, csv_text(header, rows), rel=1e-7, floor=1e-9)
