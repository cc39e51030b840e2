# Net lift of a diver by the gas that is left, at three depths, with 95 % bands; and a page for the
# diver, of words and this picture. Lines are distinguished by their dashes and their order.
set datafile separator tab
set minussign
set format "%h" # without a blank before it
set xlabel "pressure on the gauge in bar   (full at the left)" offset 0, 0.4
set bmargin 6.5
set ylabel "net lift in " . lift_unit . "   (+ floats, − sinks)"
set grid lt 1 lc rgb "#d0d0d0" lw 0.5
set border 3 lc rgb "#404040"
set xtics nomirror tc rgb "#404040"
set ytics nomirror tc rgb "#404040"
set xzeroaxis lt 1 lc rgb "#404040" lw 1.5
set xrange [full : 0]
set offsets 0, 0, graph 0.05, graph 0.05
set key outside bottom center horizontal samplen 4 width 2 Left reverse noenhanced
set style fill transparent solid 0.16 noborder
array colour[3] = [0x0060a0, 0x303030, 0xb04800]
array dash[3] = [1, 2, 4]
title_words = "Net lift through the dive, jacket empty, lead as entered; band: 95 %\nA weight check in the water, with a qualified instructor, decides."

if (!exists("into")) { into = "" }
do for [ending in "svg png pdf"] {
    if (ending eq "svg") {
        set terminal svg size 1200, 760 font "sans,19" background "white" enhanced
    }
    if (ending eq "png") {
        set terminal pngcairo size 1200, 760 font "sans,14" background "white" enhanced
    }
    if (ending eq "pdf") {
        set terminal pdfcairo size 21cm, 29.7cm font "sans,9" background "white" enhanced
        do for [i = 1:lines] {
            set label 10 + i words[i] at screen 0.07, 0.972 - 0.0119 * i left noenhanced font (i == 1 ? "monospace:Bold,9" : "monospace,9")
        }
        set lmargin at screen 0.12
        set rmargin at screen 0.94
        set tmargin at screen 0.93 - 0.0119 * lines
        set bmargin at screen 0.075
    }
    set title title_words noenhanced
    set output into . "kit." . ending
    plot for [k = 1:3] "kit.tsv" using 2:($1 == k ? $3 / unit_kg : NaN):($4 / unit_kg) with filledcurves lc rgb colour[k] notitle, \
         for [k = 1:3] "" using 2:($1 == 3 + k ? $3 / unit_kg : NaN) with lines lw 2.5 dt dash[k] lc rgb colour[k] \
             title depth_words[k]
    unset output
}
