# SPDX-License-Identifier: GPL-3.0-or-later
# A page of this folder as a man page: awk -v title='UPTHRUST-RIG 5 ...' -v name='what \- it is' -v rigs=WHERE -f man.awk PAGE
# It speaks of the programs and files as they are installed; rigs: where the rig files lie then.
function text(line) {
    gsub(/\\/, "\\e", line)
    line = gensub_links(line)
    gsub(/-/, "\\-", line)
    line = marked(line, "**", "\\fB", "\\fR")
    line = marked(line, "`", "\\fB", "\\fR")
    sub(/^[.']/, "\\\\\\&&", line)
    return line
}
function gensub_links(line,    from, link, words) { # [words](where) is words
    while (match(line, /\[[^]]*\]\([^)]*\)/)) {
        from = RSTART; link = substr(line, RSTART, RLENGTH)
        words = substr(link, 2, index(link, "]") - 2)
        line = substr(line, 1, from - 1) words substr(line, from + length(link))
    }
    return line
}
function marked(line, mark, open, close_,    at, on) {
    while ((at = index(line, mark)) > 0) {
        line = substr(line, 1, at - 1) (on ? close_ : open) substr(line, at + length(mark))
        on = !on
    }
    return line
}
function row(line,    cell, cells, i, head) {
    cells = split(line, cell, /[ \t]*\|[ \t]*/)
    if (line ~ /^\| *---/) return
    head = cell[2]
    if (head == "" && before != "") head = before   # as above it
    before = head
    printf ".TP\n%s\n", text(head (cells > 4 ? " " cell[3] : ""))
    line = ""
    for (i = cells > 4 ? 4 : 3; i < cells; i++) if (cell[i] != "") line = line (line == "" ? "" : "; ") cell[i]
    print line == "" ? "\\&" : text(line)
}
BEGIN {
    print ".\\\" SPDX-License-Identifier: GPL-3.0-or-later\n.TH " title "\n.SH NAME\n" name
}
{ gsub(/build\/upthrust/, "upthrust"); gsub(/rigs\//, rigs "/") }
/^```/ { print code ? ".fi\n.RE" : ".PP\n.RS\n.nf"; code = !code; next }
code { gsub(/\\/, "\\e"); gsub(/-/, "\\-"); sub(/^[.']/, "\\\\\\&&"); print; next }
/^# / { print ".SH DESCRIPTION"; next }
/^##+ / { sub(/^##+ /, ""); print ".SH " toupper(text($0)); before = ""; next }
/^\|/ { row($0); next }
/^- / { print ".IP \\(bu 2"; print text(substr($0, 3)); next }
/^[0-9]+\. / { print ".IP " $1 " 4"; sub(/^[0-9]+\. /, ""); print text($0); next }
/^$/ { print ".PP"; next }
{ sub(/^ +/, ""); print text($0) }
