/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Any bytes as a stream to be guessed: what comes out must be a rig file. */
#include <stdint.h>
#include <string.h>

#include "fuzz.h"
#include "upthrust/rig.h"
#include "wire/guess.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

/* A step that could not be seen is left to the person, with an example. */
static void fill_in(char *text) {
    static const char left[] = "\n; division_counts = ";
    char *line = strstr(text, left);
    if (line != NULL) {
        memmove(line + 1, line + 3, strlen(line + 3) + 1);
    }
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size) {
    struct up_guess guess;
    struct up_rig rig;
    struct up_failure failure = {0};
    char text[UP_GUESS_TEXT + 40];
    if (up_guess_layout((const char *)data, size, (double)NAN, &guess, &failure)) {
        snprintf(text, sizeof text, "[rig]\nid = fuzz\n%s", guess.line_section);
        fill_in(text);
        must(up_rig_parse("guess", text, &rig, &failure));
        must(guess.fits >= 5 && guess.fits + guess.passed <= guess.lines);
        read_both_ways(&rig.line, (const char *)data, size);
    } else {
        must(failure.status == UP_STATUS_WRONG_INPUT);
    }
    return 0;
}
