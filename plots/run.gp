# The load over the time of a run. Bars: where a plateau was read. Crosses: glitches. Dashed: what
# the operator was asked to do. Apart by shape and word; colour says nothing alone.
set datafile separator tab
set minussign
set datafile missing "nan"
set xlabel "minutes since the beginning"
set ylabel calibrated ? "load on the cell, in grams over the first empty reading" : \
    "load on the cell, as it was read (no calibration is known)"
set grid lt 1 lc rgb "#d8d8d8" lw 0.5
set border 3 lc rgb "#404040" lw 1.5
set xtics nomirror
set ytics nomirror
set xrange [-0.01 * minutes : 1.01 * minutes]
set offsets 0, 0, graph 0.08, graph 0.08
set xzeroaxis lt 1 lc rgb "#404040" lw 1
set bars 0
set key at screen 0.5, screen 0.885 center horizontal samplen 2 width 1 noenhanced

of_kind(kind, wanted, value) = kind == wanted ? value : NaN
data = name . ".tsv"
set label 9001 words at screen 0.5, 0.96 center noenhanced
set label 9002 readings ? "" : "Only the plateaus of the journal: with --rig FILE every reading \
is drawn." at screen 0.5, 0.92 center noenhanced
set tmargin at screen 0.74

if (!exists("into")) { into = "" }
do for [ending in "svg png"] {
    height_pt = ending eq "svg" ? 19 : 14
    plain_font = sprintf("sans,%.0f", height_pt)
    title_font = sprintf("sans,%.0f", 1.5 * height_pt)
    if (ending eq "svg") {
        set terminal svg size 1700, 900 font plain_font background "white" enhanced
    } else {
        set terminal pngcairo size 1700, 900 font plain_font background "white" enhanced
    }
    set label 9001 font title_font
    set output into . name . "." . ending
    plot data using (of_kind($1, 0, $2)):3 with lines lw 1 lc rgb "#909090" \
             title readings ? "readings" : "", \
         data using (of_kind($1, 1, $2)):3:4:(0) with vectors nohead lw 7 lc rgb "#303030" \
             title "plateau, empty", \
         data using (of_kind($1, 2, $2)):3:4:(0) with vectors nohead lw 7 lc rgb "#0060a0" \
             title "plateau, with load", \
         data using (of_kind($1, 1, $2 + $4 / 2)):3 with points pt 6 ps 1.6 lw 2 \
             lc rgb "#303030" notitle, \
         data using (of_kind($1, 2, $2 + $4 / 2)):3 with points pt 7 ps 1.4 lc rgb "#0060a0" \
             notitle, \
         data using (of_kind($1, 3, $2)):3 with points pt 2 ps 1.6 lw 2 lc rgb "#b04800" \
             title glitches > 0 ? "glitch, not used (at the edge: beyond it)" : ""
    unset output
}
