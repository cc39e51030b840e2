# What a reference body weighed in the tank, less what it should, check by check. Grey band: the
# limits that each check was held against. Lines: centre and limits of the chart as it is now, from
# the checks that were inside. Apart by shape and colour.
set datafile separator tab
set minussign
set datafile missing "nan"
set xlabel (first eq last ? "check, " . first : "check, from " . first . " to " . last) \
    . (has_limits ? "" : "   (no chart yet: eight checks inside make its limits)") \
    . (elsewhere eq "" ? "" : "      " . elsewhere) offset 0, 0.4
set ylabel "reads too heavy by, in grams   (bars: two standard uncertainties)"
set grid ytics lt 1 lc rgb "#d0d0d0" lw 0.5
set border 3 lc rgb "#404040"
set xtics nomirror tc rgb "#404040"
if (checks <= 25) { set xtics 1 }
set ytics nomirror tc rgb "#404040"
set xrange [0.5:checks + 0.5]
set offsets 0, 0, graph 0.08, graph 0.08
set key outside bottom center horizontal samplen 2 width 2 height 0.7 Left reverse
set bars 0.5
set style fill solid 1 noborder

of_kind(kind, wanted, value) = kind == wanted ? value : NaN

# The title comes from the lines above; the terminals differ in what a point is.
if (!exists("into")) { into = "" }
do for [ending in "svg png"] {
    if (ending eq "svg") {
        set terminal svg size 1400, 900 font "sans,19" background "white" enhanced
    } else {
        set terminal pngcairo size 1400, 900 font "sans,14" background "white" enhanced
    }
    set title font (ending eq "svg" ? "sans,26" : "sans,20")
    set output into . picture . "." . ending
    plot data using 2:(of_kind($1, 0, $3)):(of_kind($1, 0, $4)) with filledcurves \
             lc rgb "#e4e4e4" title "limits it was held against", \
         0 with lines lt 1 lw 1 lc rgb "#404040" notitle, \
         data using 2:(of_kind($1, 2, $3)) with lines lw 2 lc rgb "#0060a0" \
             title has_limits ? "centre" : "", \
         data using 2:(of_kind($1, 1, $3)) with lines lw 2 dt 2 lc rgb "#0060a0" \
             title has_limits ? "limits of the chart now" : "", \
         data using 2:(of_kind($1, 1, $4)) with lines lw 2 dt 2 lc rgb "#0060a0" notitle, \
         data using 2:(of_kind($1, 5, $3)):4 with yerrorbars \
             pt 4 ps 1.5 lw 2 lc rgb "#808080" title other_numbers ? "inside, body changed since" : "", \
         data using 2:(of_kind($1, 3, $3)):4 with yerrorbars \
             pt 7 ps 1.5 lw 2.5 lc rgb "#303030" title "inside", \
         data using 2:(of_kind($1, 4, $3)):4 with yerrorbars \
             pt 9 ps 2.5 lw 2.5 lc rgb "#c03000" title outside > 0 ? "outside" : "", \
         data using 2:(of_kind($1, 6, $3)):4 with yerrorbars \
             pt 12 ps 2 lw 1.5 lc rgb "#808080" title checks_elsewhere > 0 ? "< from elsewhere" : ""
    unset output
}
