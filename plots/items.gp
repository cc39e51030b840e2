# Rows from the top: the lightest item first. Grey boxes: the neutral band of each item. A class is
# shown by its shape and by a word, a water by its line within the row, by filled or open marks and by a word;
# colour repeats the water and says nothing alone. Made to be read from across a room.
set datafile separator tab
set minussign
set yrange [items + 0.7 : 0.3]
span = high - low
start = low - 0.03 * span
edge = high + 0.03 * span
set xrange [start : edge]
set xlabel "net buoyancy in grams:   − sinks   ·   + floats" offset 0, -0.3
set grid xtics lt 1 lc rgb "#c8c8c8" lw 1
set ytics scale 0 textcolor rgb "#000000"
set border 1 lc rgb "#404040" lw 2
set xtics nomirror tc rgb "#202020"
set arrow 1 from 0, graph 0 to 0, graph 1 nohead lc rgb "#404040" lw 2
set bars 0.6

# Classes: 0 undecided, 1 positive, 2 neutral, 3 negative. Series: 1 fresh, 2 sea, 3 tank.
# Filled marks: fresh water, or the tank's; open ones: sea.
array shape[8] = [13, 9, 7, 11, 12, 8, 6, 10]
array class_word[4] = ["undecided", "positive", "neutral", "negative"]
array body_mark[3] = ["", ", unchecked", ", body off"] # inside its limits, unchecked, outside
array water_word[3] = ["fresh", "sea", "tank"]
array colour[3] = [0x0060a0, 0xb04800, 0x303030]
shift(s) = s == 1 ? -0.21 : s == 2 ? 0.21 : 0
is(s, c, wanted_s, wanted_c) = s == wanted_s && c == wanted_c ? 1 : NaN
half = 0.40
# A row of labels without a valid point crashes gnuplot 5.4: each has one, with empty words.
# A neutral band is cut where the axis ends, and marked there.
from(t) = -t < start ? start : -t
to(t) = t > edge ? edge : t
within(t) = sprintf(", neutral within %g g", t)
filled(p) = p == 0 ? "" : p == -1 ? ", emptied of gas" : p == -2 ? ", pressure not recorded" : \
    sprintf(", as weighed at %g bar", p)
at_depth(d) = d > 0 ? sprintf(", at %g m only", d) : "" # foam: pressed smaller below
signed(b) = b < 0 ? sprintf("−%.1f", -b) : sprintf("+%.1f", b)
# At most: nothing shook it, so it has no lower end, and its bar goes on to the left.
shown(b, u, s, m) = m == 1 ? "at most " . signed(b) . " g" : signed(b) . (s < 0.05 ? sprintf(" ± %.1f g", u) : sprintf(" +%.1f −%.1f g", u, u + s))

row = items > 24 ? 58 : 72
height = 396 + row * items
width = height / 1.6 > 1760 ? int(height / 1.6) : 1760
width = width + (name_columns > 40 ? 15 * (name_columns - 40) : 0) + 15 * (24 * unusual + 13 * foam + 9 * marked)
from_top(pixels) = 1 - pixels / (1.0 * height)
set tmargin at screen from_top(190)
set bmargin at screen 176.0 / height
set label 1 "Net buoyancy of dive gear" at screen 0.5, from_top(42) center noenhanced
set label 2 subtitle at screen 0.5, from_top(86) center noenhanced
set label 3 "Each number is of the piece or pair that was weighed, not of its model. A weight check in the water decides." at screen 0.5, 24.0 / height center
set label 6 marks at screen 0.5, 60.0 / height center noenhanced
# The legend in words, so that it needs no width of the plot.
set label 4 "▲ positive: floats      ● neutral: hovers      ▼ negative: sinks      ◆ undecided      open marks: sea" \
    at screen 0.5, from_top(126) center noenhanced
set label 5 "grey: neutral band of the item (« »: wider than the picture)      bar: 95 % interval, where wider than its mark" \
    at screen 0.5, from_top(156) center noenhanced
unset key

if (!exists("into")) { into = "" }
do for [ending in "svg png"] {
    # Both terminals draw letters of the same height with these.
    height_pt = ending eq "svg" ? 23 : 17
    plain_font = sprintf("sans,%.0f", height_pt)
    small_font = sprintf("sans,%.0f", 0.9 * height_pt)
    title_font = sprintf("sans,%.0f", 1.7 * height_pt)
    if (ending eq "svg") {
        set terminal svg size width, height font plain_font background "white" enhanced
    } else {
        set terminal pngcairo size width, height font plain_font background "white" enhanced
    }
    set label 1 font title_font
    set label 2 font plain_font
    set label 3 font plain_font
    set label 4 font plain_font
    set label 5 font small_font
    set rmargin 40 + 24 * unusual + 13 * foam + 9 * marked
    set output into . "items." . ending
    plot "items.tsv" using (0):1:(from($5)):(to($5)):($1 - half):($1 + half) with boxxyerror \
             fs solid 1 noborder lc rgb "#dedede", \
         "" using (start):1:(-$5 < start ? "«" : "") with labels left tc rgb "#606060", \
         "" using (edge):1:($5 > edge ? "»" : "") with labels right tc rgb "#606060", \
         for [s = 1:3] "" using (s == $2 ? $3 : NaN):($1 + shift(s)):($14 == 1 ? start : $3 - $4 - $11):($3 + $4) with xerrorbars \
             pt -1 lw 3 lc rgb colour[s], \
         for [s = 1:3] for [c = 0:3] \
             "" using ($3 * is($2, $6, s, c)):($1 + shift(s)) with points \
             pt shape[c + (s == 2 ? 5 : 1)] ps 2.2 lw 2.5 lc rgb colour[s], \
         for [s = 1:3] "" using (edge):($1 + shift(s)):(s == $2 ? water_word[s] : "") \
             with labels left offset char 1, 0 tc rgb colour[s], \
         for [s = 1:3] "" using (edge):($1 + shift(s)):(s != $2 ? "" : valid(3) ? shown($3, $4, $11, $14) : \
             "not known") with labels right offset char 25, 0 tc rgb colour[s], \
         for [s = 1:3] "" using (edge):($1 + shift(s)):(s != $2 ? "" : class_word[$6 + 1] . \
             body_mark[$9 + 1] . ($10 == 1 ? " <" : "") . ($12 == 1 ? " *" : "") . \
              ($7 == 1 ? within($5) : "") . filled($8) . at_depth($13)) \
             with labels left offset char 26.5, 0 tc rgb colour[s]
    unset output
}
