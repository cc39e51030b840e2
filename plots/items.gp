# Rows from the top: the lightest item first. Grey boxes: the neutral band of each item.
set datafile separator tab
set yrange [items + 0.7 : 0.3]
set xlabel "net buoyancy in grams   (negative sinks, positive floats)"
set title "Net buoyancy of gear, with 95 % intervals\n{/*0.75 from a test bench; a weight check in the water decides}"
set grid xtics lt 1 lc rgb "#b8b8b8" lw 0.5
set ytics scale 0
set border 1 lc rgb "#404040"
set xtics nomirror tc rgb "#404040"
set key outside top center horizontal samplen 1 width 2
set offsets graph 0.03, graph 0.14, 0, 0
set arrow 1 from 0, graph 0 to 0, graph 1 nohead lc rgb "#404040" lw 1
set bars 0.4

# Beside each other, never told by colour alone: filled circle above, open diamond below, square.
shift(s) = s == 1 ? -0.18 : s == 2 ? 0.18 : 0
in_series(s, wanted, value) = s == wanted ? value : NaN
half = 0.36
# Beside each point its number; a class line within the interval is told in a word.
told(b, u, class) = sprintf("%+.1f ± %.1f%s", b, u, class == 0 ? "  undecided" : "")

height = 150 + 44 * items
do for [ending in "svg png"] {
    if (ending eq "svg") {
        set terminal svg size 1000, height font "sans,14" background "white" enhanced
    } else {
        set terminal pngcairo size 1000, height font "sans,11" background "white" enhanced
    }
    set output "items." . ending
    plot "items.tsv" using (0):1:(-$5):5:($1 - half):($1 + half) with boxxyerror \
             fs solid 1 noborder lc rgb "#e4e4e4" title "neutral band", \
         "" using (in_series($2, 1, $3)):($1 - 0.18):4 with xerrorbars \
             pt 7 ps 0.9 lw 2 lc rgb "#0060a0" title "fresh water", \
         "" using (in_series($2, 2, $3)):($1 + 0.18):4 with xerrorbars \
             pt 12 ps 1.1 lw 2 lc rgb "#c05000" title "sea water", \
         "" using (in_series($2, 3, $3)):1:4 with xerrorbars \
             pt 4 ps 1 lw 2 lc rgb "#303030" title "tank only (compressible)", \
         "" using 3:($1 + shift($2)):(told($3, $4, $6)) with labels left offset 1.5, 0 \
             font ",9" tc rgb "#303030" notitle
    unset output
}
