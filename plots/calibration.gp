# What the readings are off the calibration's line, by mass. Grey band: what the masses' class or
# tolerance allows. The staircase is drawn about the line through its own top. Apart by shape and
# colour.
set datafile separator tab
set datafile missing "nan"
set xlabel unloads ? "mass in grams   (negative: hung as the tare and taken off)" : "mass in grams"
set ylabel "reading less mass, in grams   (bars: two standard uncertainties)"
set grid lt 1 lc rgb "#d0d0d0" lw 0.5
set border 3 lc rgb "#404040"
set xtics nomirror tc rgb "#404040"
set ytics nomirror tc rgb "#404040"
set key tmargin center horizontal samplen 2 width 2 Left reverse
set offsets graph unloads ? 0.02 : 0, graph 0.02, graph 0.08, graph 0.08
set minussign
set xzeroaxis lt 1 lc rgb "#404040" lw 1
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
    plot data using 2:(of_kind($1, 0, -$3)):(of_kind($1, 0, $3)) with filledcurves \
             lc rgb "#e4e4e4" title "tolerance of the masses", \
         data using 2:(of_kind($1, 3, $3)) with lines lw 2 lc rgb "#0060a0" notitle, \
         data using 2:(of_kind($1, 5, $3)) with lines lw 2 dt 2 lc rgb "#c05000" notitle, \
         data using 2:(of_kind($1, 1, $3)):4 with yerrorbars \
             pt 7 ps 1.5 lw 2.5 lc rgb "#303030" title "hung", \
         data using 2:(of_kind($1, 2, $3)):4 with yerrorbars \
             pt 5 ps 1.5 lw 2.5 lc rgb "#7a3090" title unloads ? "taken off" : "", \
         data using 2:(of_kind($1, 3, $3)):4 with yerrorbars \
             pt 8 ps 2 lw 2.5 lc rgb "#0060a0" title stairs > 0 ? "staircase, rising" : "", \
         data using 2:(of_kind($1, 4, $3)):4 with yerrorbars \
             pt 10 ps 2 lw 2.5 lc rgb "#c05000" title stairs > 0 ? "staircase, falling" : ""
    unset output
}
