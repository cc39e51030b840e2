# What pulls on the cell over the time of a run, upward as it lifts. Bars: where a plateau was read.
# Crosses: glitches. Dashed: what the operator was asked to do. Where nothing happened for long the
# time is left out, and the gap marked.
set xlabel "minutes of weighing, in order" . (gaps > 0 ? "   (≈ a wait left out)" : "")
set ylabel calibrated ? "pull in " . units . ", beyond the first empty reading" : \
    "load on the cell, as it was read (no calibration is known)"
set xrange [-0.01 * minutes : 1.01 * minutes]
set offsets 0, 0, graph 0.08, graph 0.08
set xzeroaxis lt 1 lc rgb ink lw 1
set bars 0
width = 1700
height = a4 ? 1202 : 900
eval place_words
set key at screen 0.5, from_top(92)
set tmargin at screen from_top(244)
set lmargin at screen from_left(150)
set rmargin at screen from_left(width - 40)
pull(load) = calibrated ? -of(load) : load
if (calibrated) {
    set label 9003 "UP: it lifts" at graph 0.005, graph 0.965 left textcolor rgb ink
    set label 9004 "DOWN: it pulls" at graph 0.005, graph 0.035 left textcolor rgb ink
}
data = name . ".tsv"

do for [ending in endings] {
    eval open_of(ending)
    set label 9001 font font_of(ending, fitting(28, title_columns))
    set output into . name . "." . ending
    plot data using (of_kind($1, 0, $2)):(pull($3)) with lines lw 1 lc rgb grey \
             title readings ? "readings" : "", \
         data using (of_kind($1, 1, $2)):(pull($3)):4:(0) with vectors nohead lw 7 lc rgb ink \
             title "plateau, empty", \
         data using (of_kind($1, 2, $2)):(pull($3)):4:(0) with vectors nohead lw 7 lc rgb blue \
             title "plateau, with load", \
         data using (of_kind($1, 1, $2 + $4 / 2)):(pull($3)) with points pt 6 ps mark(1.6) lw 2 \
             lc rgb ink notitle, \
         data using (of_kind($1, 2, $2 + $4 / 2)):(pull($3)) with points pt 7 ps mark(1.4) lc rgb blue \
             notitle, \
         data using (of_kind($1, 3, $2)):(pull($3)) with points pt 2 ps mark(1.6) lw 2 \
             lc rgb rust title glitches > 0 ? "glitch, not used (at the edge: beyond it)" : "", \
         data using (of_kind($1, 4, $2)):(pull($3)):("≈") with labels textcolor rgb ink notitle
    unset output
}
