/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The marks for what no reference body spoke for, in tables and pictures. */
#include <string.h>

#include "report/report.h"

enum up_checked up_checked_of(const char *word) {
    return strcmp(word, "inside") == 0    ? UP_CHECKED_INSIDE
           : strcmp(word, "outside") == 0 ? UP_CHECKED_OUTSIDE
                                          : UP_CHECKED_NOT;
}

const char *up_checked_mark(enum up_checked checked) {
    static const char *const marks[] = {
        [UP_CHECKED_INSIDE] = "", [UP_CHECKED_NOT] = "?", [UP_CHECKED_OUTSIDE] = "!"};
    return marks[checked];
}

const char *up_checked_meaning(enum up_checked checked) {
    static const char *const meanings[] = {
        [UP_CHECKED_INSIDE] = "",
        [UP_CHECKED_NOT] = "unchecked: no reference body shows that the bench was right",
        [UP_CHECKED_OUTSIDE] = "the last reference body before it read outside its limits"};
    return meanings[checked];
}
