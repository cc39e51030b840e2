# SPDX-License-Identifier: GPL-3.0-or-later
"""Of each page in some folders: its policy allows nothing but its own style and script (by hash), it has no handler,
no address that leads elsewhere, no element that we never write; every link leads to a file or place that is there."""
import base64
import hashlib
import os
import re
import sys
from html.parser import HTMLParser

OURS = set("""html head meta title style body main p a h1 h2 h3 h4 div section table thead tbody tr th td svg symbol path rect
use bdi br b nav label input dl dt dd sup code script article""".split())
ATTRIBUTES = set("""lang charset http-equiv content name href class id viewbox d fill stroke stroke-width x y width height rx
aria-hidden aria-label aria-current focusable tabindex role scope hidden for type autocomplete""".split())


class Reader(HTMLParser):
    def __init__(self):
        super().__init__(convert_charrefs=True)
        self.wrong, self.links, self.ids, self.policy, self.within, self.inline = [], [], set(), "", "", {}

    def handle_starttag(self, tag, attributes):
        names = {name for name, _ in attributes}
        if tag not in OURS or names - ATTRIBUTES:
            self.wrong.append((tag, sorted(names)))
        values = dict(attributes)
        if values.get("http-equiv"):
            self.policy = values["content"]
        self.links += [values["href"]] if "href" in values and tag == "a" else []
        self.ids |= {values["id"]} if "id" in values else set()
        if tag == "use" and values["href"] not in ("#f", "#s", "#h", "#u"):
            self.wrong.append(values["href"])
        self.within = tag

    def handle_endtag(self, tag):
        self.within = ""

    def handle_data(self, data):
        if self.within in ("style", "script"):
            self.inline[self.within] = self.inline.get(self.within, "") + data


def check(path):
    reader = Reader()
    text = open(path, encoding="utf-8").read()
    reader.feed(text)
    wrong = reader.wrong
    wanted = "default-src 'none'; base-uri 'none'; form-action 'none'"
    for kind in "style", "script":
        if kind in reader.inline:
            digest = base64.b64encode(hashlib.sha256(reader.inline[kind].encode()).digest()).decode()
            wanted += "; %s-src 'sha256-%s'" % (kind, digest)
    if reader.policy != wanted:
        wrong.append(("policy", reader.policy, wanted))
    for link in reader.links:
        file, _, place = link.partition("#")
        if file and not os.path.exists(os.path.join(os.path.dirname(path), file)) or not file and place not in reader.ids:
            wrong.append(("leads nowhere", link))
    if any(re.search(r"https?:|//|url\(|@import", part) for part in [*reader.links, *reader.inline.values()]):
        wrong.append("an address")
    return [(path, each) for each in wrong]


found, pages = [], 0
for folder in sys.argv[1:]:
    for at, _, files in os.walk(folder):
        for name in files:
            pages += 1
            found += check(os.path.join(at, name))
print(pages, "pages")
for each in found[:5]:
    print(*each)
sys.exit(bool(found) or pages < 20)
