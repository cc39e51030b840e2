#!/bin/sh
# SPDX-License-Identifier: GPL-3.0-or-later
# What a person can get wrong: one clear line, the right status, nothing lost.
. "$(dirname "$0")/tap.sh"
c=$work/catalogue
cat >"$work/rig.ini" <<'R'
[rig]
id = test-bench
[port]
kind = pty
path = /dev/nowhere
[line]
layout = fields
separator = comma
time_field = 1
time_unit = ms
load_field = 2
R
cat >"$work/bare.ini" <<'R'
[rig]
id = bare
[line]
layout = bare
rate_hz = 10
R

"$bin" >"$work/out" 2>"$work/err"
if [ $? -eq 2 ] && [ ! -s "$work/out" ] && grep -q '^usage: upthrust COMMAND' "$work/err"; then
    say yes "no command"; else say no "no command"; fi
expect "help" 0 "calibrate" - -- "$bin" --help
expect "help of a command" 0 "--masses-g" - -- "$bin" help calibrate
expect "help option of a command" 0 "--masses-g" - -- "$bin" calibrate --help
expect "version" 0 "^upthrust [0-9]" - -- "$bin" --version
expect "unknown command" 2 - "unknown command frobnicate" -- "$bin" frobnicate
expect "unknown option" 2 - "unknown option" -- "$bin" water --colour
expect "an option with one dash" 2 - "^upthrust: -json: unknown option; did you mean --json" -- "$bin" item list -json
expect "letters behind one dash" 2 - "^upthrust: -vt20: unknown option" -- "$bin" water -vt20
expect "option without value" 2 - "missing value" -- "$bin" water --temp-c
expect "words where none belong" 2 - "takes only options" -- "$bin" water wet
expect "full disk behind stdout" 1 "" "cannot write the output: No space" -- sh -c "'$bin' water >/dev/full"
expect "a file that may not grow" 1 "" "cannot|fails|full" -- sh -c "ulimit -f 1; exec '$bin' item add --name Fin --kind fin --catalogue '$work/small'"

expect "water, fresh" 0 "998\.2067 kg/m3" - -- "$bin" water --temp-c 20
expect "water, sea, json" 0 '"density_kg_m3": 1025' - -- "$bin" water --temp-c 18.1 --salinity-g-kg 35.16504 --json
expect "practical salinity" 0 "Absolute Salinity 35.165" - -- "$bin" water --salinity-psu 35
expect "both salinities" 2 - "not both" -- "$bin" water --salinity-psu 35 --salinity-g-kg 35
for t in -0.1 40.1 nan inf 1e999 warm '' 0x10 '20 '; do
    expect "water at '$t'" 2 - "--temp-c" -- "$bin" water --temp-c "$t"
done
expect "salinity 43" 2 - "--salinity-g-kg" -- "$bin" water --salinity-g-kg 43
expect "depth 61" 2 - "--depth-m" -- "$bin" water --depth-m 61

expect "waters by name" 0 "baltic .* to 20\.09 g/kg" - -- "$bin" water --list
expect "waters by name, json" 0 '"schema": "upthrust-waters-1"' - -- "$bin" water --list --json
expect "a water by name" 0 "^red-sea: 26\.00 C, Absolute Salinity 38\.933 g/kg \(limits \+- 2\.261\)" - -- "$bin" water --water red-sea
expect "a water by its conductivity" 0 "Absolute Salinity 3\.833 g/kg" - -- "$bin" water --water Quarry,temp_c=12,conductivity_ms_cm=5.2
expect "a water by a hydrometer" 0 "^1024\.87[0-9]* kg/m3" - -- "$bin" water --water Dock,temp_c=25,hydrometer_kg_m3=1025,hydrometer_ref_c=20
expect "a pool by its salt" 0 "pool salt 3\.9[0-9]* g/kg" - -- "$bin" water --water Lido,temp_c=25,pool_salt_g_l=4
water() { # name pattern water
    expect "$1" 2 - "$2" -- "$bin" water --water "$3"
}
water "a water of no name" "name of 1 to 47 bytes" ",temp_c=3"
water "a water without a temperature" "needs temp_c=" "Quarry,salinity_psu=3"
water "a water of nothing" "what is in it" "Quarry,temp_c=3"
water "an unknown key of a water" "one of the keys temp_c" "Quarry,temp_c=3,colour=4"
water "a key without a number" "give a number behind the =" "Quarry,temp_c=3,salinity_psu"
water "a key of a water twice" "temp_c is given twice" "Quarry,temp_c=3,temp_c=4,salinity_psu=3"
water "a salinity told in two ways" "say the same" "Quarry,temp_c=3,salinity_psu=3,salinity_g_kg=3"
water "salinity against conductivity" "contradicts itself" "Quarry,temp_c=20,salinity_psu=35,conductivity_ms_cm=20"
water "conductivity against a hydrometer" "contradicts itself" "Quarry,temp_c=20,conductivity_ms_cm=20,hydrometer_sg=1.03,hydrometer_ref_c=20"
water "a salinity against the name" "contradicts the name" "baltic,salinity_psu=35"
water "a hydrometer beyond its scale" "hydrometer_kg_m3 is 1100, outside 985 to 1040" "Quarry,temp_c=20,hydrometer_kg_m3=1100,hydrometer_ref_c=20"
water "a hydrometer no water shows" "outside 998.21 to" "Quarry,temp_c=20,hydrometer_kg_m3=990,hydrometer_ref_c=20"
water "a hydrometer of no temperature" "needs hydrometer_ref_c" "Quarry,temp_c=20,hydrometer_kg_m3=1010"
water "a meter that shows brine" "outside 0 to 42" "Quarry,temp_c=20,conductivity_ms_cm=79"
water "a water at 50 C" "outside 0 to 40" "pool,temp_c=50"
water "a water at 70 m" "depth in m" "sea,depth_m=70"
expect "a water told twice over" 2 - "leave it out" -- "$bin" water --water sea --temp-c 3
expect "two waters of one name" 2 - "asked for twice" -- "$bin" water --water sea --water sea,temp_c=3
expect "two waters at a time" 2 - "one --water at a time" -- "$bin" water --water sea --water pool

expect "degrees F are told what they are in C" 2 - "--temp-c 54F: give a number from 0 to 40 C; 54 F is 12.2 C" -- "$bin" water --temp-c 54F
expect "a number of grams" 2 - "--tolerance-g x: give a number from 1 to 1000 g$" -- "$bin" item add --name x --kind fin --tolerance-g x --catalogue "$c"
expect "a salinity out of range" 2 - "--salinity-g-kg 99: give a number from 0 to 42 g/kg$" -- "$bin" water --salinity-g-kg 99
expect "item add" 0 "Plain fin" - -- "$bin" item add --name "Plain fin" --kind fin --catalogue "$c"
expect "item add, a pair" 0 "a pair" - -- "$bin" item add --name "Twin fins" --kind fin --pair --catalogue "$c"
expect "item without a name" 2 - "--name" -- "$bin" item add --kind fin --catalogue "$c"
expect "item without a kind" 2 - "--kind" -- "$bin" item add --name x --catalogue "$c"
expect "tolerance of nothing" 2 - "--tolerance-g" -- "$bin" item add --name x --kind fin --tolerance-g 0 --catalogue "$c"
expect "item of a material" 0 "expands by 0\.000596 per K" - -- "$bin" item add --name "Rubber fin" --kind fin --material rubber --catalogue "$c"
expect "unknown material names those known" 2 - "polypropylene" -- "$bin" item add --name x --kind fin --material cheese --catalogue "$c"
expect "a body of no material" 2 - "material glue: not known" -- "$bin" body add --name x --mass-g 100 --u-mass-g 1 --volume-cm3 50 --u-volume-cm3 1 --material glue --catalogue "$c"
expect "material and expansion" 2 - "keep one" -- "$bin" item add --name x --kind fin --material lead --expansion-per-k 1e-4 --catalogue "$c"
expect "unknown item names the nearest" 2 - 'did you mean "Plain fin"' -- "$bin" item show "Plain fim" --catalogue "$c"
expect "item show" 0 "Plain fin" - -- "$bin" item show "plain FIN" --catalogue "$c"
expect "second item of the same name" 0 "" "its name looks like that of .Plain fin" -- "$bin" item add --name "Plain fin" --kind fin --catalogue "$c"
expect "ambiguous item" 2 - "2 items are called" -- "$bin" item show "Plain fin" --catalogue "$c"
hostile='"; system("touch '$work/mark'") `touch '$work/mark'` $(x) '"'"'); DROP TABLE record;--'
expect "hostile name" 0 "system" - -- "$bin" item add --name "$hostile" --kind fin --catalogue "$c"
expect "a name with escapes is told harmlessly" 0 "" - -- "$bin" item add --name "$(printf 'red \033[31m\nnext')" --kind fin --catalogue "$c"
if grep -q "$(printf '\033')" "$work/out"; then say no "no escape reaches the terminal"; else say yes "no escape reaches the terminal"; fi
expect "list" 0 "Twin fins" - -- "$bin" item list --catalogue "$c"
expect "list, json" 0 '"schema": "upthrust-items-1"' - -- "$bin" item list --json --catalogue "$c"
expect "list, one water" 0 "^item .*  sea" - -- "$bin" item list --water sea --units imperial --catalogue "$c"
expect "units of nowhere" 2 - "metric or imperial" -- "$bin" item list --units cubits --catalogue "$c"
expect "show" 0 "not measured yet" - -- "$bin" show "Twin fins" --catalogue "$c"
expect "show, json" 0 '"schema": "upthrust-show-1"' - -- "$bin" show "Twin fins" --json --catalogue "$c"
expect "show what?" 2 - "one name or id" -- "$bin" show --catalogue "$c"
expect "show names the nearest" 2 - 'did you mean "Twin fins"' -- "$bin" show "Twin fin" --catalogue "$c"
expect "explain nothing" 2 - "there is no result yet" -- "$bin" explain --catalogue "$c"
expect "explain what was not measured" 2 - "has no result in the water \"tank\"" -- "$bin" explain "Twin fins" --catalogue "$c"
expect "explain two things" 2 - "give one result" -- "$bin" explain Twin fins --catalogue "$c"
expect "explain without a catalogue" 1 - "there is no catalogue" -- "$bin" explain --catalogue "$work/none"
expect "decide about nothing" 0 "0 decisions stored" - -- "$bin" decide --all --catalogue "$c"
expect "decide about what?" 2 - "decide: give what to judge again: --item NAME, --kind KIND or --all" -- "$bin" decide --catalogue "$c"
expect "decide about all and one" 2 - "give --all or --item, not both" -- "$bin" decide --all --item "Twin fins" --catalogue "$c"
expect "decide with too wide a tolerance" 2 - "from 1 to 1000" -- "$bin" decide --all --tolerance-g 1001 --catalogue "$c"
expect "decide with too wide a tolerance for one" 2 - "a piece is neutral within at most 500 g, and .* is one" -- "$bin" decide --all --tolerance-g 501 --catalogue "$c"
expect "decide about a pair" 0 "0 decisions stored" - -- "$bin" decide --item "Twin fins" --tolerance-g 501 --catalogue "$c"
expect "add with too wide a tolerance" 2 - "one piece is neutral within 1 g to 500 g" -- "$bin" item add --name x --kind fin --tolerance-g 501 --catalogue "$c"
expect "kind with too wide a tolerance" 2 - "--tolerance-pair-g 1001: give a number from 1 to 1000" -- "$bin" kind set fin --tolerance-pair-g 1001 --catalogue "$c"
expect "decide, json" 0 '"schema": "upthrust-decide-1"' - -- "$bin" decide --all --json --dry-run --catalogue "$c"
expect "decide about an unknown item" 2 - 'did you mean "Twin fins"' -- "$bin" decide --item "Twin fin" --catalogue "$c"
expect "decide about an unknown kind" 2 - "no item of the kind" -- "$bin" decide --kind zeppelin --catalogue "$c"
expect "decide with a tolerance of nothing" 2 - "--tolerance-g" -- "$bin" decide --all --tolerance-g 0 --catalogue "$c"
expect "decide with no confidence" 2 - "--confidence" -- "$bin" decide --all --confidence 0.4 --catalogue "$c"
expect "decide in one water twice" 2 - "--water fresh is asked for twice: keep one" -- "$bin" decide --all --water fresh --water sea --water fresh,temp_c=3 --catalogue "$c"
expect "decide in a water that is not known" 2 - "needs temp_c" -- "$bin" decide --all --water "Blue lake" --catalogue "$c"
expect "a pair is told" 0 "pair: Twin fins" - -- "$bin" item list --catalogue "$c"
expect "a boot holds gas or not: nobody is there to be asked" 2 - "does this boot hold gas.*--holds-gas yes, no or unknown" -- "$bin" item add --name "Old boot" --kind boot --catalogue "$c"
expect "nor of what is not listed" 2 - "--holds-gas" -- "$bin" item add --name x --kind zeppelin --json --catalogue "$c"
expect "a word that is none" 2 - "give yes, no or unknown" -- "$bin" item add --name x --kind boot --holds-gas maybe --catalogue "$c"
python3 - "$bin" "$c" <<'P' && say yes "a person is asked" || say no "a person is asked"
import os, pty, sys
def added(kind, *answers):
    child, ours = pty.fork()
    if child == 0:
        os.execv(sys.argv[1], [sys.argv[1], "item", "add", "--name", "Asked " + kind + str(len(answers)), "--kind", kind, "--catalogue", sys.argv[2]])
    told = b""
    for answer in (*answers, b""):
        while answer and not told.endswith(b"press Enter: "):
            told += os.read(ours, 4096)
        os.write(ours, answer)
        told += b"\n" if answer else b""
    try:
        while part := os.read(ours, 4096):
            told += part
    except OSError:
        pass
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]), told.decode()
status, told = added("hood", b"perhaps\n", b"unknown\n")
assert status == 0 and "such as foam" in told and "holds gas: unknown, which counts as yes" in told, told
status, told = added("glove", b"no\n")
assert status == 0 and "results hold only at their depth" not in told, told
status, told = added("suit", b"a\n", b"b\n", b"c\n")
assert status == 2 and "give --holds-gas" in told, told
status, told = added("fin")
assert status == 0 and "such as foam" not in told, told
P
expect "unknown counts as yes" 0 '"compressible": true' - -- "$bin" item add --name "A hood" --kind hood --holds-gas unknown --json --catalogue "$c"
expect "a fin holds none" 0 '"holds_gas": "no"' - -- "$bin" item show "Twin fins" --json --catalogue "$c"
expect "another kind must be told of again" 2 - "--holds-gas" -- "$bin" item edit "Twin fins" --kind boot --catalogue "$c"
expect "a boot" 0 "Old boot" - -- "$bin" item add --name "Old boot" --kind boot --holds-gas yes --catalogue "$c"
expect "things measured together" 0 "measured together: " - -- "$bin" item add --name "Boot in fins" --kind fin --together "Old boot" --together "Twin fins" --catalogue "$c"
expect "a boot in a fin holds gas" 0 "holds gas: yes" - -- "$bin" show "Boot in fins" --catalogue "$c"
expect "and shown with their names" 0 "measured together: Old boot" - -- "$bin" show "Boot in fins" --catalogue "$c"
expect "exported too" 0 '"part_ids": "[0-9a-f-]* [0-9a-f-]*"' - -- "$bin" item show "Boot in fins" --json --catalogue "$c"
expect "together with nothing else" 2 - "two items or more" -- "$bin" item add --name x --kind fin --together "Old boot" --catalogue "$c"
expect "the same thing twice" 2 - "named twice" -- "$bin" item add --name x --kind fin --together "Old boot" --together "Old boot" --catalogue "$c"
expect "together with what is not there" 2 - "no item" -- "$bin" item add --name x --kind fin --together Zeppelin --together "Old boot" --catalogue "$c"
expect "edit" 0 "Plainer fin" - -- "$bin" item edit "Twin fins" --name "Plainer fin" --catalogue "$c"
expect "edit what is not there" 2 - "no item" -- "$bin" item edit "No such thing" --name x --catalogue "$c"
expect "kind without a tolerance" 2 - "kind set: name one kind" -- "$bin" kind set fin --catalogue "$c"
expect "kind, tolerance of nothing" 2 - "--tolerance-g 0" -- "$bin" kind set fin --tolerance-g 0 --catalogue "$c"
expect "kind verb" 2 - "give list or set" -- "$bin" kind eat --catalogue "$c"
expect "kind set" 0 "neutral within 33 g, a pair 100 g" - -- "$bin" kind set light --tolerance-g 33 --catalogue "$c"
expect "kind set, what was set stays" 0 "neutral within 33 g, a pair 66 g" - -- "$bin" kind set Light --tolerance-pair-g 66 --catalogue "$c"
expect "an item takes its kind's tolerance" 0 "neutral within 33 g" - -- "$bin" item add --name Beam --kind LIGHT --catalogue "$c"
expect "a pair its own" 0 "neutral within 66 g" - -- "$bin" item add --name Beams --kind light --pair --catalogue "$c"
expect "unless it is told one" 0 "neutral within 12 g" - -- "$bin" item add --name "Small beam" --kind light --tolerance-g 12 --catalogue "$c"
expect "kind list" 0 "^Light +33 +66 +no " - -- "$bin" kind list --catalogue "$c"
expect "kind list, json" 0 '"schema": "upthrust-kinds-1"' - -- "$bin" kind list --json --catalogue "$c"
expect "body never weighed in air" 2 - "weigh it in air first" -- "$bin" body add --name Steel --volume-cm3 127 --u-volume-cm3 0.1 --catalogue "$c"
expect "body without a volume" 2 - "no volume above zero" -- "$bin" body add --name Steel --mass-g 1000 --u-mass-g 0.1 --catalogue "$c"
expect "body known exactly" 2 - "nothing is known exactly" -- "$bin" body add --name Steel --mass-g 1000 --u-mass-g 0 --volume-cm3 127 --u-volume-cm3 0.1 --catalogue "$c"
expect "body of unsaid uncertainty" 2 - "--u-volume-cm3" -- "$bin" body add --name Steel --mass-g 1000 --u-mass-g 0.1 --volume-cm3 127 --catalogue "$c"
expect "body of two densities" 2 - "not both" -- "$bin" body add --name Steel --mass-g 1000 --u-mass-g 0.1 --volume-cm3 127 --density-kg-m3 7850 --u-volume-cm3 0.1 --catalogue "$c"
expect "body lighter than air" 2 - "density of" -- "$bin" body add --name Steel --mass-g 1 --u-mass-g 0.1 --volume-cm3 50000 --u-volume-cm3 0.1 --catalogue "$c"
expect "body without a name" 2 - "--name" -- "$bin" body add --mass-g 1000 --u-mass-g 0.1 --volume-cm3 127 --u-volume-cm3 0.1 --catalogue "$c"
expect "no body yet" 0 "no reference bodies yet" - -- "$bin" body list --catalogue "$c"
expect "body add" 0 "density 7850.0 kg/m3" - -- "$bin" body add --name Steel --mass-g 1000 --u-mass-g 0.1 --density-kg-m3 7850 --u-volume-cm3 0.1 --catalogue "$c"
expect "body read in air" 0 "mass 1000.294 g" - -- "$bin" body add --name Light --mass-g 1000 --read-in-air --u-mass-g 0.1 --volume-cm3 370.4 --u-volume-cm3 0.1 --catalogue "$c"
expect "body edit" 0 "mass 1001.000 g" - -- "$bin" body edit steel --mass-g 1001 --catalogue "$c"
expect "unknown body names the nearest" 2 - 'did you mean "Steel"' -- "$bin" body show Stele --catalogue "$c"
expect "an item is no body" 2 - "no reference body" -- "$bin" body show "Plainer fin" --catalogue "$c"
expect "body show" 0 "not yet weighed" - -- "$bin" body show Steel --catalogue "$c"
expect "body show, json" 0 '"schema": "upthrust-body-1"' - -- "$bin" body show Steel --json --catalogue "$c"
expect "hostile body" 0 "system" - -- "$bin" body add --name "$hostile" --mass-g 1000 --u-mass-g 0.1 --density-kg-m3 7850 --u-volume-cm3 0.1 --catalogue "$c"
expect "body list" 0 "Steel" - -- "$bin" body list --catalogue "$c"
expect "body list, json" 0 '"schema": "upthrust-bodies-1"' - -- "$bin" body list --json --catalogue "$c"
expect "body verb" 2 - "add, edit, list or show" -- "$bin" body eat --catalogue "$c"
expect "edit back" 0 "Twin fins" - -- "$bin" item edit "Plainer fin" --name "Twin fins" --catalogue "$c"
rtl=$(printf '\327\251\327\234\327\225\327\235 \360\237\244\277 <script>x</script>')
expect "right to left, a picture, a script" 0 "script" - -- "$bin" item add --name "$rtl" --kind fin --catalogue "$c"
expect "and back whole" 0 "$rtl" - -- "$bin" item list --json --catalogue "$c"
expect "export to exchange" 0 "" - -- "$bin" export --format json --to "$work/out-json" --catalogue "$c"
expect "import it elsewhere" 0 "" - -- "$bin" import "$work/out-json/catalogue.json" --catalogue "$work/other"
expect "it is all there" 0 "Twin fins" - -- "$bin" item list --catalogue "$work/other"
echo '{"schema": "something else"}' >"$work/alien.json"
expect "import of another document" 2 - "" -- "$bin" import "$work/alien.json" --catalogue "$work/other"
expect "import of nothing" 2 - "" -- "$bin" import "$work/none.json" --catalogue "$work/other"
expect "merge" 0 "0 new records, 2[0-9] already here" - -- "$bin" merge "$work/other" --catalogue "$c"
expect "merge of no catalogue" 1 - "there is no catalogue" -- "$bin" merge "$work/none" --catalogue "$c"
expect "item verb" 2 - "accept, add, edit, list, rename, restore, retire or show" -- "$bin" item eat --catalogue "$c"

expect "no catalogue" 1 - "there is no catalogue in .* yet: begin with .upthrust item add.*upthrust demo" -- "$bin" item list --catalogue "$work/none"
expect "catalogue under a file" 1 - "cannot make" -- "$bin" item add --name x --kind fin --catalogue /dev/null/x
mkdir "$work/junk" && echo "these are no tables, these are words of no use to anyone at all" >"$work/junk/catalogue.sqlite"
expect "not a catalogue" 2 - "is not a catalogue" -- "$bin" item list --catalogue "$work/junk"
mkdir "$work/new" && sqlite3 "$work/new/catalogue.sqlite" "PRAGMA application_id=$(sqlite3 "$c/catalogue.sqlite" 'PRAGMA application_id'); PRAGMA user_version=99; CREATE TABLE t(x);"
expect "a newer catalogue" 2 - "newer upthrust" -- "$bin" item list --catalogue "$work/new"
mkdir "$work/alien" && sqlite3 "$work/alien/catalogue.sqlite" "CREATE TABLE t(x);"
expect "another program's tables" 2 - "not a catalogue of upthrust" -- "$bin" item list --catalogue "$work/alien"

expect "rig missing" 2 - "cannot read .*none.ini" -- "$bin" listen --rig "$work/none.ini" --replay /dev/null
expect "rig not named" 2 - "--rig" -- "$bin" listen --replay /dev/null
expect "capture missing" 2 - "cannot read the capture" -- "$bin" listen --rig "$work/rig.ini" --replay "$work/none"
expect "capture is a directory" 2 - "directory" -- "$bin" listen --rig "$work/rig.ini" --replay "$work"
expect "an empty capture" 2 - "contains no whole line" -- "$bin" listen --rig "$work/rig.ini" --replay /dev/null
head -c 100000 /dev/urandom >"$work/noise"
expect "a capture of noise" 2 - "lines fit" -- "$bin" listen --rig "$work/rig.ini" --replay "$work/noise"
seq 1 100 | sed 's/^/weight: /' >"$work/labels"
expect "another layout" 2 - "weight: 1" -- "$bin" listen --rig "$work/bare.ini" --replay "$work/labels"
expect "port missing" 1 - "/dev/nowhere" -- "$bin" listen --rig "$work/rig.ini" --seconds 0.2

expect "calibrate without masses" 2 - "--masses-g" -- "$bin" calibrate --rig "$work/rig.ini" --operator json --catalogue "$c"
expect "two masses" 2 - "three different" -- "$bin" calibrate --rig "$work/rig.ini" --operator json --masses-g 1,2 --catalogue "$c"
expect "equal masses" 2 - "three different" -- "$bin" calibrate --rig "$work/rig.ini" --operator json --masses-g 5,5,5,5 --catalogue "$c"
expect "a mass of words" 2 - "--masses-g" -- "$bin" calibrate --rig "$work/rig.ini" --operator json --masses-g 1,two,3 --catalogue "$c"
expect "a mass below nothing" 2 - "give a positive mass" -- "$bin" calibrate --rig "$work/rig.ini" --operator json --masses-g 1,0,3 --catalogue "$c"
expect "a mass taken off only twice" 2 - "three different" -- "$bin" calibrate --rig "$work/rig.ini" --operator json --masses-g 1,-1,-2 --catalogue "$c"
expect "an unknown class of masses" 2 - "E2, F1, F2, M1, M2 or M3" -- "$bin" calibrate --rig "$work/rig.ini" --operator json --masses-g 1,2,3 --mass-class Z9 --catalogue "$c"
expect "masses outside their class" 2 - "not in the table of class M1" -- "$bin" calibrate --rig "$work/rig.ini" --operator json --masses-g 0.5,1,2 --mass-class M1 --catalogue "$c"
sed '$a [masses]\nclass = M1\ntolerance_rel = 1e-4' "$work/rig.ini" >"$work/both.ini"
expect "a class and a tolerance" 2 - "keep one" -- "$bin" calibrate --rig "$work/both.ini" --operator json --masses-g 1,2,3 --catalogue "$c"
expect "air too hot" 2 - "--air-temp-c" -- "$bin" calibrate --rig "$work/rig.ini" --operator json --masses-g 1,2,3 --air-temp-c 50 --catalogue "$c"
expect "calibration verb" 2 - "give list, show" -- "$bin" calibration eat --catalogue "$c"
expect "no calibration to list" 0 - - -- "$bin" calibration list --catalogue "$c"
expect "no calibrations, json" 0 '"calibrations": ..' - -- "$bin" calibration list --json --catalogue "$c"
expect "no calibration to show" 2 - "no such calibration" -- "$bin" calibration show --catalogue "$c"
expect "too little of an id" 2 - "four characters" -- "$bin" calibration show ab --catalogue "$c"
expect "calibrate, port missing" 1 "" "/dev/nowhere" -- "$bin" calibrate --rig "$work/rig.ini" --operator json --masses-g 1,2,3 --catalogue "$c"
expect "measure without a calibration" 2 - "no calibration yet" -- "$bin" measure --rig "$work/rig.ini" --operator json --item "Twin fins" --catalogue "$c"
expect "measure an unknown item" 2 - "no item" -- "$bin" measure --rig "$work/rig.ini" --operator json --item Zeppelin --catalogue "$c"
expect "json twice" 2 - "give only one" -- "$bin" measure --rig "$work/rig.ini" --operator json --json --item x --catalogue "$c"
expect "not a terminal, no operator" 2 - "not a terminal" -- "$bin" measure --rig "$work/rig.ini" --item x --catalogue "$c"
expect "an operator of feathers" 2 - "keys, pedal or json" -- "$bin" measure --rig "$work/rig.ini" --operator owl --item x --catalogue "$c"

expect "a foot without a pedal" 2 - "no section \[pedal\]" -- "$bin" measure --rig "$work/rig.ini" --operator pedal --item x --catalogue "$c"
printf '[pedal]\nline = gpiochip99 3\nbias = pull-up\nactive = low\n' | cat "$work/rig.ini" - >"$work/pedal.ini"
expect "a foot that would have to type" 2 - "temperature would have to be typed" -- "$bin" measure --rig "$work/pedal.ini" --operator pedal --item x --catalogue "$c"
printf '[rig]\nid = t\n[port]\nkind = typed\n[line]\nlayout = bare\nload_unit = g\n[sensor]\ndivision_counts = 0.001\n[pedal]\nline = gpiochip99 3\nbias = pull-up\nactive = low\n' >"$work/typed-pedal.ini"
expect "a foot that would have to type readings" 2 - "readings are typed here" -- "$bin" calibrate --rig "$work/typed-pedal.ini" --operator pedal --masses-g 1,2,3 --catalogue "$c"
expect "a chip that is not there" 1 - "no GPIO chip of that name or label" -- "$bin" calibrate --rig "$work/pedal.ini" --operator pedal --masses-g 1,2,3 --catalogue "$work/untouched"
[ -e "$work/untouched" ] && say no "it left nothing behind" || say yes "it left nothing behind"
printf '[shaker]\nline = gpiochip0 3\nactive = high\n' | cat "$work/rig.ini" - >"$work/shaker.ini"
expect "a relay without a time limit" 2 - "no relay without a time" -- "$bin" listen --rig "$work/shaker.ini"
for i in $(seq 300); do echo "$((i * 100)),$((50000 + (i * 7919) % 61))"; done >"$work/quiet"
expect "rig-check without a rig" 2 - "--rig" -- "$bin" rig-check
expect "rig-check, port missing" 1 "residual-current" "/dev/nowhere" -- "$bin" rig-check --rig "$work/rig.ini" --catalogue "$work/untouched"
expect "rig-check of a capture" 0 "The rig is fit to weigh with, but its file leaves" - -- "$bin" rig-check --rig "$work/rig.ini" --replay "$work/quiet" --counts-kg 1e5 --catalogue "$work/untouched"
expect "rig-check in grams" 0 '"u_weighing_g": 0\.0' - -- "$bin" rig-check --rig "$work/rig.ini" --replay "$work/quiet" --counts-kg 1e5 --json --catalogue "$work/untouched"
expect "rig-check of gear too heavy" 3 "SHORT .*set .sensor. capacity_kg" - -- "$bin" rig-check --rig "$work/rig.ini" --replay "$work/quiet" --mass-kg 4 --catalogue "$work/untouched"
expect "rig-check of a hanging scale" 0 "fit to weigh with to 7.1 g" - -- "$bin" rig-check --rig "$(dirname "$0")/../../rigs/hanging-scale.ini" --catalogue "$work/untouched"
expect "rig-check of a feather" 2 - "--mass-kg" -- "$bin" rig-check --rig "$work/rig.ini" --replay "$work/quiet" --mass-kg feather
expect "rig-check for no time" 2 - "--seconds" -- "$bin" rig-check --rig "$work/rig.ini" --seconds 0
[ -s "$work/out" ] && say no "refused before the cautions are told" || say yes "refused before the cautions are told"
expect "rig-check of an empty capture" 2 "" "/dev/null contains no whole line" -- "$bin" rig-check --rig "$work/rig.ini" --replay /dev/null
printf '[rig]\nid = x\n[line\nlayout = bare\n' >"$work/open.ini"
expect "the first mistake of a rig file" 2 - "line 3: neither a \[section\]" -- "$bin" listen --rig "$work/open.ini"
measure() { # name pattern options of measure
    name=$1 pattern=$2; shift 2
    expect "$name" 2 - "$pattern" -- "$bin" measure --rig "$work/rig.ini" --operator json --catalogue "$c" "$@"
}
queue() { # name pattern bytes
    printf "$3" >"$work/queue"
    measure "$1" "$2" --queue "$work/queue"
}
queue "a list of bytes" "not a list of items: it contains bytes that are not text" '\000\001Twin fins\n'
queue "a list in UTF-16" "in UTF-8" '\377\376T\000w\000'
queue "a list of nothing" "names no item" '\n# a remark\n'
queue "a list with a mark at its beginning" "line 2: Twin fins is listed twice" '\357\273\277Twin fins\r\ntwin FINS\r\n'
queue "a list with a thing unknown" 'line 1: no item "Zeppelin": .upthrust item list. shows' 'Zeppelin\n'
measure "a list that is a directory" "it is a directory" --queue "$work"
yes "# remark" | head -c 2000000 >"$work/queue"
measure "a list too long" "larger than 1 MiB" --queue "$work/queue"
measure "a list that is a device" "it is a pipe or a device" --queue /dev/zero
mkfifo "$work/pipe"
measure "a list that is a pipe" "it is a pipe or a device" --queue "$work/pipe"
expect "a rig file that is a pipe" 2 - "it is a pipe or a device" -- "$bin" listen --rig "$work/pipe" --replay /dev/null
measure "a look at nothing" '"" is not a number' --item "Old boot" --trials 4,,6
expect "a replay of something else" 2 - "--item and --replay" -- "$bin" measure --replay f00d --item "Old boot" --catalogue "$c"
measure "store what is measured" "--store needs --replay" --item "Old boot" --store
expect "a list takes only options" 2 - "kind list takes only options" -- "$bin" kind list fin --catalogue "$c"
expect "nothing like it is known" 2 - 'no item "q": .upthrust item list. shows' -- "$bin" show q --catalogue "$c"
water "a key without its number" "give a number behind the =" "Quarry,temp_c=3,salinity_psu=salty"
expect "a water too hot" 2 - "" -- "$bin" measure --rig "$work/rig.ini" --operator json --item "Twin fins" --water fresh,temp_c=50 --catalogue "$c"
expect "a water called tank" 2 - "not \"tank\"" -- "$bin" measure --rig "$work/rig.ini" --operator json --item "Twin fins" --water tank --catalogue "$c"
expect "an own water without salinity" 2 - "what is in it" -- "$bin" measure --rig "$work/rig.ini" --operator json --item "Twin fins" --water "Blue lake,temp_c=5" --catalogue "$c"

# Where there is no memory nothing is stored, and a line says why.
head -c 60000000 /dev/zero | tr '\0' ' ' >"$work/large.json"
# The address sanitizer reserves more than any limit leaves.
grep -q __asan_init "$bin" || expect "no memory" 1 - "not enough memory" -- sh -c "ulimit -v 75000; exec '$bin' import '$work/large.json' --catalogue '$c'"
rm "$work/large.json"
expect "plot of nothing" 1 - "measure an item first" -- "$bin" plot --catalogue "$c"
rmdir "$c/plots"
expect "plot of nothing, without its folder" 1 - "measure an item first" -- "$bin" plot --catalogue "$c"
expect "plot of no run" 2 - "no run" -- "$bin" plot --run f00d --catalogue "$c"
expect "plot, a run and an item" 2 - "not both" -- "$bin" plot --run latest --item Fin --catalogue "$c"
expect "plot, an item and a filter" 2 - "that one alone: leave out --kind" -- "$bin" plot --item Fin --kind fin --catalogue "$c"
expect "plot, an item and words" 2 - "that one alone: leave out Fin" -- "$bin" plot --item Fin Fin --catalogue "$c"
expect "plot, an item and two waters" 2 - "give --water once" -- "$bin" plot --item Fin --water sea --water fresh --catalogue "$c"
expect "plot, a run and a water" 2 - "that one alone: leave out --water" -- "$bin" plot --run latest --water sea --catalogue "$c"
expect "page, pictures of models in a single file" 2 - "leave out --pictures" -- "$bin" page --single --pictures --to x --catalogue "$c"
expect "plot, in no units" 2 - "give metric or imperial" -- "$bin" plot --units stone --catalogue "$c"
expect "plot, of a kind that nobody has" 2 - "no item that was chosen has a result" -- "$bin" plot --kind sail --catalogue "$c"
expect "plot, of no item" 2 - "no item" -- "$bin" plot --item Nothing --catalogue "$c"
expect "plot, three waters" 2 - "one water or two" -- "$bin" plot --water sea --water fresh --water lake --catalogue "$c"
expect "plot, by what is not" 2 - "choose one of item, model, kind" -- "$bin" plot --by size --catalogue "$c"
expect "plot, a rig without a run" 2 - "needs --run" -- "$bin" plot --rig x.ini --catalogue "$c"
expect "export, no format" 2 - "csv or" -- "$bin" export --catalogue "$c"
expect "export, csv" 0 "items.csv" - -- "$bin" export --format csv --to "$work/csv" --catalogue "$c"
expect "export, json" 0 "catalogue.json" - -- "$bin" export --format json --catalogue "$c"
expect "export into a file" 1 - "cannot" -- "$bin" export --format csv --to "$work/rig.ini" --catalogue "$c"
expect "demo without a directory" 2 - "--dir" -- "$bin" demo
expect "demo, seed of words" 2 - "--seed" -- "$bin" demo --dir "$work/d" --seed lucky
expect "demo under a file" 1 "" "cannot make" -- sh -c "'$bin' demo --dir /dev/null/x 2>&1 >/dev/null | grep -v '^A simulated' >&2; exit 1"

# `nohup` means that the end of the terminal is not the program's.
mkfifo "$work/hold"
(trap '' HUP; exec "$bin" listen --rig "$work/rig.ini" --replay "$work/hold" >/dev/null 2>&1) &
child=$!
exec 8>"$work/hold"
sleep 0.3
kill -HUP $child
sleep 0.3
kill -0 $child 2>/dev/null && good=yes || good=no
exec 8>&-
wait $child
say $good "an ignored SIGHUP stays ignored"

# Words for a closed standard error must not go to a file or line that got its number.
mkfifo "$work/bytes"
"$bin" listen --rig "$work/rig.ini" --replay "$work/bytes" >/dev/null 2>&- &
exec 9>"$work/bytes"
[ "$(readlink "/proc/$!/fd/2")" = /dev/null ] && good=yes || good=no
exec 9>&-
wait
say $good "a closed standard error stays closed"

sqlite3 "$c/catalogue.sqlite" "BEGIN EXCLUSIVE; SELECT 1;" ".shell sleep 14" "ROLLBACK;" >/dev/null 2>&1 &
sleep 0.5
expect "locked catalogue" 1 - "locked by another program" -- "$bin" item add --name late --kind fin --catalogue "$c"
wait
[ -e "$work/mark" ] && say no "no name was executed" || say yes "no name was executed"
finish
