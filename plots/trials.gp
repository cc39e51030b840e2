# The trials of one weighing, each with the corrections of the result, and the result's interval.
set xlabel "trial"
set ylabel "net buoyancy in " . units . "   (+ floats)"
set xrange [0.5 : trials + 0.5]
set xtics 1
if (trials > 25) { set xtics autofreq }
set grid noxtics
set offsets 0, 0, graph 0.08, graph 0.08
data = name . ".tsv"

do for [ending in endings] {
    eval open_of(ending)
    set label 9001 font font_of(ending, fitting(28, title_columns))
    set output into . name . "." . ending
    plot data using 2:(of_kind($1, 0, of($3))):(of_kind($1, 0, of($4))) with filledcurves lc rgb band \
             title "95 % interval of the result", \
         data using 2:(of_kind($1, 1, of($3))) with lines lw 2.5 lc rgb blue title "result", \
         data using 2:(of_kind($1, 4, of($3))) with lines lw 2.5 dt 2 lc rgb rust \
             title limit_shown ? "limit of neutral" : "", \
         data using 2:(of_kind($1, 2, of($3))):(of($4)) with yerrorbars pt 7 ps mark(1.8) lw 2.5 lc rgb ink title "trial", \
         data using 2:(of_kind($1, 3, of($3))):(of($4)) with yerrorbars pt 12 ps mark(2) lw 2 lc rgb grey \
             title left_out > 0 ? "left out by the operator" : ""
    unset output
}
