#!/usr/bin/env python3
"""range_by_quadrature.py CASE...: recomputes every tukey_p of a case from its t and df.

An independent check of the studentised range (Gauss-Legendre in both directions, where the
program sums by the trapezoidal rule): for k means with df degrees of freedom

    P(Q > q) = integral over s of f(s) P(range of k normals > q s),
    P(range > w) = k integral phi(z) [Phi(z)^(k-1) - (Phi(z) - Phi(z - w))^(k-1)] dz,

f the density of a chi-squared over its df, square root taken. Lists the values of
expected.csv that differ by more than their tolerance. Standard library only; about one
second a value.
"""
import csv
import math
import os
import re
import sys

NODES = 40


def legendre(n):
    nodes = []
    for i in range(n):
        x = math.cos(math.pi * (i + 0.75) / (n + 0.5))
        for _ in range(50):
            before, value = 1.0, x
            for j in range(2, n + 1):
                before, value = value, ((2 * j - 1) * x * value - (j - 1) * before) / j
            slope = n * (x * value - before) / (x * x - 1)
            x -= value / slope
        nodes.append((x, 2 / ((1 - x * x) * slope * slope)))
    return nodes


RULE = legendre(NODES)


def integral(f, low, high, panels):
    half = (high - low) / panels / 2
    middles = (low + half * (2 * i + 1) for i in range(panels))
    return sum(w * f(m + half * x) for m in middles for x, w in RULE) * half


def below(z):
    return 0.5 * math.erfc(-z / math.sqrt(2))


def density(z):
    return math.exp(-z * z / 2) / math.sqrt(2 * math.pi)


def range_above(w, k):
    def term(z):
        return density(z) * (below(z) ** (k - 1) - (below(z) - below(z - w)) ** (k - 1))

    return k * integral(term, -9.0, 14.0, 6)


def studentised_above(q, k, df):
    constant = math.log(2) + df / 2 * math.log(df / 2) - math.lgamma(df / 2)

    def term(s):
        weight = math.exp(constant + (df - 1) * math.log(s) - df * s * s / 2)
        return weight * range_above(q * s, k)

    return integral(term, 1e-12, min(1 + 9 / math.sqrt(df), 14 / q), 5)


def means_of(stem, quantities):
    """All pairs of k means are there: k (k - 1) / 2 of them."""
    head = re.match(r"(.*?diff\.[^.]+\.)", stem)[1]
    pairs = sum(1 for q in quantities if q.startswith(head) and q.endswith(".tukey_p"))
    return round((1 + math.sqrt(1 + 8 * pairs)) / 2)


def main():
    wrong = 0
    for case in sys.argv[1:]:
        with open(os.path.join(case, "expected.csv"), newline="", encoding="utf-8") as f:
            rows = {r["quantity"]: r for r in csv.DictReader(f)}
        for quantity, row in rows.items():
            if not quantity.endswith(".tukey_p"):
                continue
            stem = quantity[: -len(".tukey_p")]
            t, df = (float(rows[f"{stem}.{x}"]["value"]) for x in ("t", "df"))
            k = means_of(stem, rows)
            p, given = studentised_above(math.sqrt(2) * abs(t), k, df), float(row["value"])
            if abs(p - given) > max(1e-10, float(row["tolerance_rel"]) * given):
                wrong += 1
                print(f"{case}: {quantity}: {given:.10g} there, {p:.15g} by quadrature")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
