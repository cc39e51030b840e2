#!/bin/sh
# SPDX-License-Identifier: GPL-3.0-or-later
# What a person reads: no line wider than a terminal of 80 columns, and under --units imperial no
# metric unit on any screen. JSON stays metric.
. "$(dirname "$0")/tap.sh"
d=$work/demo c=$work/demo/catalogue
"$bin" demo --dir "$d" --seed 5 --json >"$work/out" 2>"$work/err"
"$bin" body add --name "Steel one" --mass-g 1000.12 --u-mass-g 0.02 --density-kg-m3 7850 --u-volume-cm3 0.05 \
    --material steel --catalogue "$c" >"$work/out" 2>"$work/err"
"$bin" kit example >"$work/kit.json"
# A scale that reads in grams: three levels of a minute, with a glitch.
printf '%s\n' '[rig]' 'id = board' '[port]' 'kind = capture' 'path = x' '[line]' 'layout = fields' 'separator = comma' \
    'load_field = 2' 'time_field = 1' 'time_unit = ms' 'load_unit = g' '[sensor]' 'division_counts = 0.00001' >"$work/grams.ini"
awk 'BEGIN { srand(7); for (i = 0; i < 1800; i++) printf "%d,%.2f\n", 100 * i,
    (i == 300 ? 5000 : 1000 * (1 + int(i / 600))) + rand() }' >"$work/grams"
cat >"$work/screens" <<'S'
calibration show
calibration list
kind list
kind set fin --tolerance-g 40
body list
body show Steel
item list
item list --water fresh --water sea
item show Plover
show Plover
show Plovers
show Auk
explain Plover
explain Plover --water sea
explain Grebe
decide --all --tolerance-g 80 --dry-run
water --temp-c 12 --depth-m 10
water --water sea
water --list
S
python3 - "$bin" "$c" "$work/screens" <<'P'
import fcntl, json, os, pty, re, shlex, struct, subprocess, sys, termios
bin_, catalogue, screens = sys.argv[1:]
names = {"Plover": "Plover fin", "Plovers": "Plover fins, pair", "Auk": "Auk hood", "Grebe": "Grebe fin", "Steel": "Steel one"}
count = 0


def say(good, name, *why):
    global count
    count += 1
    print("%sok %d - %s" % ("" if good else "not ", count, name))
    for line in why if not good else ():
        print("#  ", line)


def run(words):
    """On a terminal of 80 columns, without colours and the marks that isolate a name."""
    main, side = pty.openpty()
    fcntl.ioctl(side, termios.TIOCSWINSZ, struct.pack("HHHH", 24, 80, 0, 0))
    program = subprocess.Popen([bin_, *words], stdin=subprocess.DEVNULL, stdout=side, stderr=side)
    os.close(side)
    whole = b""
    while True:
        try:
            piece = os.read(main, 65536)
        except OSError:
            break
        if not piece:
            break
        whole += piece
    os.close(main)
    status = program.wait()
    text = re.sub("\x1b\\[[0-9;]*m|[\u2068\u2069]", "", whole.decode()).replace("\r", "")
    return status, text.splitlines()


# Stays: g/kg of salt; the equations of explain, which hold in SI units and say so.
METRIC = re.compile(r"(?<![\w.])[0-9.]+ (g|kg|C|m|cm|mm|kg/m3|cm3)(?![\w/])|\b(g per|counts/g)\b")
for line in open(screens):
    words = [names.get(w, w) for w in shlex.split(line)]
    on = [] if words[0] == "water" else ["--catalogue", catalogue]
    for units in "metric", "imperial":
        status, shown = run(words + on + ["--units", units])
        wide = [l for l in shown if len(l) > 80]
        say(status in (0, 3) and shown and not wide, "%s: 80 columns, %s" % (line.strip(), units), status, *wide)
        if units == "imperial":
            start = "budget," if words[0] == "explain" else ""
            text = "\n".join(shown)
            text = text[text.index(start):]
            if words[0] == "explain":  # a line of the budget has its value in its own unit
                text = re.sub(r"(?m)^    \S+ give or take.*$", "", text)
            left = [m.group(0) for m in METRIC.finditer(text)]
            say(not left, "%s: no metric unit" % line.strip(), *left)
        elif words[0] not in ("decide",) and words[:2] != ["kind", "set"]:
            plain = subprocess.run([bin_, *words, *on, "--json", "--units", "imperial"], capture_output=True, text=True)
            same = subprocess.run([bin_, *words, *on, "--json"], capture_output=True, text=True)
            say(plain.stdout == same.stdout and json.loads(same.stdout), "%s: JSON stays metric" % line.strip())
# The demonstration and what a wire says, by hand: 1000 g are 35.27 oz.
work = os.path.dirname(screens)
heard = ["listen", "--rig", work + "/grams.ini", "--replay", work + "/grams", "--loads", "1,2,3"]
for words in heard, ["demo", "--dir", work + "/again", "--seed", "5"]:
    text = {}
    for units in "metric", "imperial":
        status, shown = run(words + ["--units", units])
        text[units] = "\n".join(shown)
        wide = [l for l in shown if len(l) > 80 and work not in l]
        say(status in (0, 3) and len(shown) > 5 and not wide, "%s: 80 columns, %s" % (words[0], units), status, *wide)
    left = [m.group(0) for m in METRIC.finditer(text["imperial"])] + re.findall(r", g\b|\b(?:net|interval|truth|error) g\b", text["imperial"])
    say(not left, words[0] + ": no metric unit", *left)
    if words[0] == "demo":
        rows = {u: re.findall(r"^(?:Heron fin  |Lead block).* ([+-][0-9.]+) +\+.* ([+-][0-9.]+) +([+-][0-9.]+)[* ] ", t, re.M) for u, t in text.items()}
        say(len(rows["metric"]) == 2 and all(abs(float(g) / 28.349523 - float(oz)) < 0.01 for m, i in zip(rows["metric"], rows["imperial"])
                                            for g, oz in zip(m, i)), "demo: the same in ounces", rows)
        say("net oz interval oz" in text["imperial"] and "net g interval g" in text["metric"], "demo: columns say their unit")
        say("within 1.76 oz of zero, for a pair 3.53 oz" in text["imperial"] and "at 68.0 F" in text["imperial"], "demo: so do its sentences")
    else:
        loads = {u: [float(v) for v in re.findall(r"^ +[0-9.]+ +([0-9.]+) +[0-9.]+ +[0-9]+  ", t, re.M)] for u, t in text.items()}
        say(len(loads["metric"]) == 3 and abs(loads["metric"][0] - 1000.5) < 0.1 and
            all(abs(g / 28.349523 - oz) < 1e-4 for g, oz in zip(loads["metric"], loads["imperial"])), "listen: the same in ounces", loads)
        for what in r"load, oz ", r"noise of one reading [0-9.]+ oz;", r"Allan deviation, oz: ", r"drift \S+ oz a minute", r"glitch at 30.000 s: 176\.\d+ oz,", r"fit: 35\.27\d* oz a unit":
            say(re.search(what, text["imperial"]), "listen: " + what, text["imperial"])
    plain = [subprocess.run([bin_, *words, "--json", *on], capture_output=True, text=True).stdout for on in ([], ["--units", "imperial"])]
    say(plain[0] == plain[1] if words[0] == "listen" else '"buoyancy_g"' in plain[1] and " oz" not in plain[1], words[0] + ": JSON stays metric")
    refused = subprocess.run([bin_, *words, "--units", "stone"], capture_output=True, text=True)
    say(refused.returncode == 2 and "give metric or imperial" in refused.stderr, words[0] + ": units refused", refused.stderr)
commands = re.findall(r"^  ([a-z-]+) ", subprocess.run([bin_, "help"], capture_output=True, text=True).stdout, re.M)
assert len(commands) > 20, commands
kit = os.path.join(os.path.dirname(screens), "kit.json")
# Gas stays in bar, hPa and litres: nothing in text/style.h converts them, and a kit file has them so.
for units in "metric", "imperial":
    words = ["kit", "report", kit, "--units", units]
    whole = subprocess.run([bin_, *words], capture_output=True, text=True).stdout
    status, shown = run(words)
    say(status == 0 and max(map(len, shown)) <= 80 and "".join(shown).split() and
        " ".join(" ".join(shown).split()) == " ".join(re.sub("[\u2068\u2069]", "", whole).split()),
        "kit report: 80 columns, nothing lost, " + units, *[l for l in shown if len(l) > 80])
of_kit = re.compile(METRIC.pattern + r"|\b(N m|kilograms?|metres?)\b")
left = [m.group(0) for m in of_kit.finditer(whole)]
say(not left and "to the 13.2 lb that are entered" in whole and "59 ft" in whole, "kit report: no metric unit", *left)
words = ["kit", "report", kit, "--json"]
plain, same = (subprocess.run(words, executable=bin_, capture_output=True, text=True).stdout
               for words in ([bin_, *words, "--units", "imperial"], [bin_, *words]))
say(plain == same and json.loads(same), "kit report: JSON stays metric")
page = {}
for units in "metric", "imperial":
    to = os.path.join(os.path.dirname(screens), "page-" + units)
    status, shown = run(["kit", "page", kit, "--to", to, "--units", units])
    page[units] = {name: open(os.path.join(to, "kit." + name)).read() for name in ("gp", "tsv", "svg")} if status == 0 else {}
gp = page["imperial"]["gp"]
left = [m.group(0) for m in of_kit.finditer(gp)]
say(not left and '"deepest point, 59 ft"' in gp and "net lift in lb" in page["imperial"]["svg"], "kit page: no metric unit", *left)
say("net lift in kg" in page["metric"]["svg"] and page["metric"]["tsv"] == page["imperial"]["tsv"] and
    page["metric"]["svg"] != page["imperial"]["svg"], "kit page: its data stay metric")
for verb, units in ("report", "stone"), ("example", "imperial"), ("new", "imperial"):
    to = kit if verb == "report" else os.path.join(os.path.dirname(screens), "new.json")
    status, shown = run(["kit", verb, *([] if verb == "example" else [to]), "--units", units])
    say(status == 2 and "--units" in " ".join(shown),
        "kit %s --units %s is refused" % (verb, units), *shown)
for words in [["help"], ["help", "rig"]] + [["help", c] for c in dict.fromkeys(commands) if c != "help"]:
    status, shown = run(words)
    wide = [l for l in shown if len(l) > 80]
    say(status == 0 and not wide, " ".join(words) + ": 80 columns", *wide)
print("1..%d" % count)
P
