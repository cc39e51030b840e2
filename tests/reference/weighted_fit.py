#!/usr/bin/env python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""Norris's data (StRD) with the weights 1/(0.25 + (0.003 x)^2): a straight line by the normal equations
in exact fractions, and once more by numpy (polyfit with the weights' roots), where it is installed. Prints
what statistics_reference_test.c quotes: c0, c1, their covariance from the residuals, the weighted sum."""
import math
import pathlib
import re
from fractions import Fraction as F

source = (pathlib.Path(__file__).parent / "statistics_reference_test.c").read_text()
block = source[source.index("NORRIS[] = {"):source.index("static void test_norris")]
data = [(F(x), F(y)) for x, y in re.findall(r"\{([\d.]+), ([\d.]+)\}", block)]
w = [1 / (F("0.25") + (F("0.003") * x) ** 2) for x, _ in data]


def total(f):
    return sum(wi * f(x, y) for wi, (x, y) in zip(w, data))


s, sx, sy = total(lambda x, y: 1), total(lambda x, y: x), total(lambda x, y: y)
sxx, sxy = total(lambda x, y: x * x), total(lambda x, y: x * y)
det = s * sxx - sx * sx
c0, c1 = (sxx * sy - sx * sxy) / det, (s * sxy - sx * sy) / det
chi = total(lambda x, y: (y - c0 - c1 * x) ** 2)
scale = chi / (len(data) - 2)
for name, value in (("c0", c0), ("c1", c1), ("cov00", sxx / det * scale), ("cov01", -sx / det * scale),
                    ("cov11", s / det * scale), ("chi2", chi), ("through zero", sxy / sxx)):
    print("%-12s %.17g" % (name, value))
try:
    import numpy
    line, cov = numpy.polyfit([float(x) for x, _ in data], [float(y) for _, y in data], 1,
                              w=[math.sqrt(wi) for wi in w], cov=True)
    print("numpy        %.12g %.12g, covariance %.12g %.12g %.12g" % (line[1], line[0], cov[1, 1], cov[0, 1], cov[0, 0]))
except ImportError:
    pass
