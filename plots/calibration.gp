# What the readings are off the calibration's line, by mass. Band: what the masses' class or
# tolerance allows. The staircase is drawn about the line through its own top.
set xlabel "mass in " . units . (unloads ? "   (negative: hung as the tare and taken off)" : "")
set ylabel "reading less mass, in " . units . "   (bars: two standard uncertainties)"
set offsets graph unloads ? 0.02 : 0, graph 0.02, graph 0.08, graph 0.08
set xzeroaxis lt 1 lc rgb ink lw 1
data = name . ".tsv"

do for [ending in endings] {
    eval open_of(ending)
    set label 9001 font font_of(ending, fitting(28, title_columns))
    set output into . name . "." . ending
    plot data using (of($2)):(of_kind($1, 0, -of($3))):(of_kind($1, 0, of($3))) with filledcurves \
             lc rgb band title "tolerance of the masses", \
         data using (of($2)):(of_kind($1, 3, of($3))) with lines lw 2 lc rgb blue notitle, \
         data using (of($2)):(of_kind($1, 5, of($3))) with lines lw 2 dt 2 lc rgb rust notitle, \
         data using (of($2)):(of_kind($1, 1, of($3))):(of($4)) with yerrorbars \
             pt 7 ps mark(1.5) lw 2.5 lc rgb ink title "hung", \
         data using (of($2)):(of_kind($1, 2, of($3))):(of($4)) with yerrorbars \
             pt 5 ps mark(1.5) lw 2.5 lc rgb plum title unloads ? "taken off" : "", \
         data using (of($2)):(of_kind($1, 3, of($3))):(of($4)) with yerrorbars \
             pt 8 ps mark(2) lw 2.5 lc rgb blue title stairs > 0 ? "staircase, rising" : "", \
         data using (of($2)):(of_kind($1, 4, of($3))):(of($4)) with yerrorbars \
             pt 10 ps mark(2) lw 2.5 lc rgb rust title stairs > 0 ? "staircase, falling" : ""
    unset output
}
