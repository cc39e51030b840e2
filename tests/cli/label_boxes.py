# SPDX-License-Identifier: GPL-3.0-or-later
"""Whether the words of each page lie apart from one another and inside it, none smaller than 7 points."""
import re
import sys

PT_PER_MM = 72 / 25.4
# Between ascent and descent DejaVu Sans takes 1.16 of its size, as its own tables say.
LEAST_PT = 7 * 1.16 - 0.1

width_mm, height_mm = map(float, sys.argv[2].removesuffix("mm").split("x"))
text = open(sys.argv[1], encoding="utf-8").read()
pages = re.findall(r"<page .*?</page>", text, re.S)
wrong = []
words = 0
for number, page in enumerate(pages, 1):
    boxes = [(*map(float, box[:4]), box[4]) for box in re.findall(
        r'<word xMin="(\S+)" yMin="(\S+)" xMax="(\S+)" yMax="(\S+)">(.*?)</word>', page)]
    words += len(boxes)
    for a in boxes:
        if a[0] < 0 or a[1] < 0 or a[2] > width_mm * PT_PER_MM or a[3] > height_mm * PT_PER_MM:
            wrong.append(("outside", number, a))
        if a[3] - a[1] < LEAST_PT:
            wrong.append(("small", number, a))
    for i, a in enumerate(boxes):
        for b in boxes[:i]:
            over_x, over_y = min(a[2], b[2]) - max(a[0], b[0]), min(a[3], b[3]) - max(a[1], b[1])
            if over_x > 0.5 and over_y > 1.5:
                wrong.append(("over", number, a, b))
print(len(pages), "pages,", words, "words")
for entry in wrong[:5]:
    print(*entry)
sys.exit(bool(wrong) or words < 100)
