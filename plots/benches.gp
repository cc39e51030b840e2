# One item, or the pieces of one model, as several benches weighed it: one water, the newest of each.
set xlabel "net buoyancy in " . units . ":   − sinks   ·   + floats"
data = name . ".tsv"
stats data using (of($2 - $3 - $4)) nooutput
low = STATS_min
stats data using (of($2 + $3)) nooutput
span = STATS_max > low ? STATS_max - low : 1
edge = STATS_max + 0.06 * span
set xrange [low - 0.06 * span : edge]
set yrange [rows + 0.6 : 0.4]
set ytics scale 0 noenhanced
set grid noytics
set lmargin at screen from_left(120 + 11.5 * name_columns)
set rmargin at screen from_left(width - 230)
set label 4 "▲ positive: floats      ● neutral: hovers      ▼ negative: sinks      ◆ undecided" . (open_marks > 0 ? "      open marks: from elsewhere" : "") \
    at screen 0.5, from_top(118) center noenhanced textcolor rgb ink
unset key
array shape[4] = [13, 9, 7, 11]
array hollow[4] = [12, 8, 6, 10]

do for [ending in endings] {
    eval open_of(ending)
    set label 9001 font font_of(ending, fitting(28, title_columns))
    set output into . name . "." . ending
    plot data using (of($2)):1:(of($2 - $3 - $4)):(of($2 + $3)) with xerrorbars pt -1 lw 3 lc rgb blue notitle, \
         for [c = 0:3] data using ($5 == c && $6 == 0 ? of($2) : NaN):1 with points pt shape[c + 1] ps mark(2.2) lw 2.5 \
             lc rgb blue notitle, \
         for [c = 0:3] data using ($5 == c && $6 == 1 ? of($2) : NaN):1 with points pt hollow[c + 1] ps mark(2.2) lw 2.5 \
             lc rgb blue notitle, \
         data using (edge):1:(signed($2) . interval($3, $4)) with labels left offset char 1, 0 textcolor rgb ink notitle
    unset output
}
