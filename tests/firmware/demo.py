# SPDX-License-Identifier: GPL-3.0-or-later
"""Three items of the demonstration, weighed through the board's firmware in the simulator.

  demo.py build/release IMAGE SEED
"""
import sys
import tempfile
import time

from session import Bench, holds

TOLERANCE_G = 50  # of one piece, as `upthrust demo` has it
ITEMS = (("Heron fin", "fin"), ("Coot fin", "fin"), ("Float light", "light"))


def class_of(truth_g):
    return "neutral" if abs(truth_g) <= TOLERANCE_G else "positive" if truth_g > 0 else "negative"


def main():
    out, image, seed = sys.argv[1:4]
    began, wrong = time.monotonic(), 0
    print("A load cell's board in a simulator under the simulated tank; its lines come through its serial port.",
          flush=True)
    with tempfile.TemporaryDirectory() as folder:
        bench = Bench(out, image, folder, seed)
        try:
            status, _ = bench.session("calibrate", "--masses-g", "500,1000,2000,4000")
            if status != 0:
                sys.exit("the calibration failed")
            print(f"{'item (all gear is invented)':<30} {'net g':>8} {'+-':>5} {'truth g':>8}  class", flush=True)
            for item, kind in ITEMS:
                status, result, truth_g = bench.measure(item, kind)
                if result is None:
                    sys.exit(f"{item} was not measured")
                good = result["class"] == class_of(truth_g)
                wrong += not good
                print(f"{item:<30} {result['buoyancy_g']:>+8.1f} {result['expanded_u_g']:>5.1f} {truth_g:>+8.1f}"
                      f"{' ' if holds(result, truth_g) else '*'} {result['class']}"
                      f"{'' if good else ', not ' + class_of(truth_g)}", flush=True)
        finally:
            bench.end()
    print(f"Done in {time.monotonic() - began:.0f} s (* marks an interval without the true value).")
    sys.exit(wrong > 0)


main()
