# What a reference body weighed in the tank, less what it should, check by check. Band: the limits
# that each check was compared with. Lines: centre and limits of the chart as it is now, from the
# checks that were inside.
set xlabel (first eq last ? "check, " . first : "check, from " . first . " to " . last) \
    . (has_limits ? "" : "   (no chart yet: eight checks inside make its limits)")
set ylabel "reads too heavy by, in " . units . "   (bars: two standard uncertainties)"
set grid noxtics
if (checks <= 25) { set xtics 1 }
set xrange [0.5:checks + 0.5]
set offsets 0, 0, graph 0.08, graph 0.08
set tmargin at screen from_top(184)
data = name . ".tsv"

do for [ending in endings] {
    eval open_of(ending)
    set label 9001 font font_of(ending, fitting(28, title_columns))
    set output into . name . "." . ending
    plot data using 2:(of_kind($1, 0, of($3))):(of_kind($1, 0, of($4))) with filledcurves \
             lc rgb band title "limits it was compared with", \
         0 with lines lt 1 lw 1 lc rgb ink notitle, \
         data using 2:(of_kind($1, 2, of($3))) with lines lw 2 lc rgb blue \
             title has_limits ? "centre" : "", \
         data using 2:(of_kind($1, 1, of($3))) with lines lw 2 dt 2 lc rgb blue \
             title has_limits ? "limits of the chart now" : "", \
         data using 2:(of_kind($1, 1, of($4))) with lines lw 2 dt 2 lc rgb blue notitle, \
         data using 2:(of_kind($1, 5, of($3))):(of($4)) with yerrorbars \
             pt 4 ps mark(1.5) lw 2 lc rgb grey title other_numbers ? "inside, body changed since" : "", \
         data using 2:(of_kind($1, 3, of($3))):(of($4)) with yerrorbars \
             pt 7 ps mark(1.5) lw 2.5 lc rgb ink title "inside", \
         data using 2:(of_kind($1, 4, of($3))):(of($4)) with yerrorbars \
             pt 9 ps mark(2.5) lw 2.5 lc rgb rust title outside > 0 ? "outside" : "", \
         data using 2:(of_kind($1, 6, of($3))):(of($4)) with yerrorbars \
             pt 12 ps mark(2) lw 1.5 lc rgb grey title checks_elsewhere > 0 ? "< from elsewhere" : ""
    unset output
}
