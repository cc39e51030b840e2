# Rows from the top: the lightest item first. Grey boxes: the neutral band of each item. A class is
# shown by its shape and by a word, a water by its line within the row, by filled or open marks and by a word;
# colour repeats the water and says nothing alone. Made to be read from across a room. A row may stand
# for many items: then its bar reaches from the lowest of them to the highest.
row = items > 24 ? 58 : 72
wanted = 396 + row * items + 24 * (|standing| - 1)
width = wanted / 1.6 > 1760 ? int(wanted / 1.6) : 1760
width = width + (name_columns > 40 ? 15 * (name_columns - 40) : 0) + 15 * (24 * unusual + 13 * foam + 9 * marked)
stands = a4 && 396 + 58 * items > 0.71 * width
if (stands) { a4_width_cm = 21.0; a4_height_cm = 29.7 }
height = a4 ? int(width * a4_height_cm / a4_width_cm) : wanted
eval place_words
set yrange [items + 0.7 : 0.3]
low = of(low)
high = of(high)
span = high - low
start = low - 0.03 * span
edge = high + 0.03 * span
set xrange [start : edge]
set xlabel "net buoyancy in " . units . ":   − sinks   ·   + floats" offset 0, -0.3
set grid xtics noytics
set ytics scale 0
set border 1 lc rgb ink lw 2
set arrow 1 from 0, graph 0 to 0, graph 1 nohead lc rgb ink lw 2

# Classes: 0 undecided, 1 positive, 2 neutral, 3 negative. Series: 1 to 3, each a water.
# Filled marks: the first and the third; open ones: the second.
array shape[8] = [13, 9, 7, 11, 12, 8, 6, 10]
array class_word[4] = [grouped ? "classes differ" : "undecided", "positive", "neutral", "negative"]
array body_mark[3] = ["", ", unchecked", ", body off"] # inside its limits, unchecked, outside
array colour[3] = [blue, rust, ink]
shift(s) = s == 1 ? -0.21 : s == 2 ? 0.21 : 0
is(s, c, wanted_s, wanted_c) = s == wanted_s && c == wanted_c ? 1 : NaN
half = 0.40
# A row of labels without a valid point crashes gnuplot 5.4: each has one, with empty words.
once(mark, item) = (fresh_item = item != last_item, last_item = item, fresh_item ? mark : "")
# A neutral band is cut where the axis ends, and marked there.
from(t) = -of(t) < start ? start : -of(t)
to(t) = of(t) > edge ? edge : of(t)
within(t) = ", neutral within " . limit(t)
filled(p) = p == 0 ? "" : p == -1 ? ", emptied of gas" : p == -2 ? ", pressure not recorded" : \
    sprintf(", as weighed at %g bar", p)
at_depth(d) = d > 0 ? ", at " . depth(d) . " only" : "" # foam: pressed smaller below
# At most: nothing shook it, so it has no lower end, and its bar goes on to the left.
# A bound is rounded up: what is true of at most a value must not be shown as less.
parts = imperial ? 100.0 : 10.0
above(grams) = unit_g * ceil(of(grams) * parts - 1e-6) / parts
shown(b, u, s, m) = m == 1 ? "at most " . signed(above(b)) . " " . unit : \
    grouped ? signed(b - u - s) . " to " . signed(b + u) . " " . unit : signed(b) . interval(u, s)

set tmargin at screen from_top(190)
lowest = (foot + 84) / height
set bmargin at screen from_top(190 + 90 * items) > lowest && a4 ? from_top(190 + 90 * items) : lowest
unset lmargin
set label 9002 at screen 0.5, from_top(86)
# The legend in words, so that it needs no width of the plot.
set label 4 "▲ positive: floats      ● neutral: hovers      ▼ negative: sinks      ◆ " . (grouped ? "classes differ" : "undecided") . (open_marks eq "" ? "" : "      open marks: " . open_marks) \
    at screen 0.5, from_top(126) center noenhanced textcolor rgb ink
set label 5 grouped ? "grey: neutral band, where it is one      mark: the middle item      bar: from the lowest 95 % interval to the highest" : \
    "grey: neutral band of the item (« »: wider than the picture)      bar: 95 % interval, where wider than its mark" \
    at screen 0.5, from_top(156) center noenhanced textcolor rgb ink
unset key
data = name . ".tsv"

do for [ending in endings] {
    eval open_of(ending)
    last_item = 0
    small = font_of(ending, 21)
    plain = font_of(ending, 23)
    beside = font_of(ending, 22)
    set label 9001 font font_of(ending, 39)
    do for [i = 1:|standing|] { set label 9010 + i font small }
    set label 9010 font small
    set label 9002 font plain
    set label 4 font plain
    set label 5 font small
    set xtics font small
    set ytics font plain
    set xlabel font beside
    set rmargin at screen from_left(width - 640 - 320 * unusual - 170 * foam - 120 * marked)
    set output into . name . "." . ending
    plot data using (0):1:(from($5)):(to($5)):($1 - half):($1 + half) with boxxyerror \
             fs solid 1 noborder lc rgb band, \
         "" using (start):1:(-of($5) < start ? once("«", $1) : "") with labels left tc rgb grey, \
         "" using (edge):1:(of($5) > edge ? once("»", $1) : "") with labels right tc rgb grey, \
         for [s = 1:3] "" using (s == $2 ? of($3) : NaN):($1 + shift(s)):($14 == 1 ? start : of($3 - $4 - $11)):(of($3 + $4)) with xerrorbars \
             pt -1 lw 3 lc rgb colour[s], \
         for [s = 1:3] for [c = 0:3] \
             "" using (of($3) * is($2, $6, s, c)):($1 + shift(s)) with points \
             pt shape[c + (s == 2 ? 5 : 1)] ps mark(2.2) lw 2.5 lc rgb colour[s], \
         for [s = 1:3] "" using (edge):($1 + shift(s)):(s == $2 ? water_word[s] : "") \
             with labels left offset char 1, 0 noenhanced font beside tc rgb colour[s], \
         for [s = 1:3] "" using (edge):($1 + shift(s)):(s != $2 ? "" : valid(3) ? shown($3, $4, $11, $14) : \
             "not known") with labels right offset char 29, 0 font beside tc rgb colour[s], \
         for [s = 1:3] "" using (edge):($1 + shift(s)):(s != $2 ? "" : class_word[$6 + 1] . \
             body_mark[$9 + 1] . ($10 == 1 ? " <" : "") . ($12 == 1 ? " *" : "") . \
              ($7 == 1 ? within($5) : "") . filled($8) . at_depth($13)) \
             with labels left offset char 30.5, 0 font beside tc rgb colour[s]
    unset output
}
