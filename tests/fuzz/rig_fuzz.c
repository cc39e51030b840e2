/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Any text as a rig file: refused with one line, or a rule that reads any bytes without harm. */
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include "fuzz.h"
#include "text/text.h"
#include "upthrust/rig.h"
#include "upthrust/wire.h"

static const char lines[] =
    "12\r\nST,GS,  - 1.5kg\n*4#\x02 7G\x03{\"a\":1,\"b\":\"2\"}\na: 5 b: 6\n\xff\n"
    "1,2,3,4*5DF0\n 5 6\n";

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size) {
    struct up_rig *rig = up_allocate(1, sizeof *rig);
    struct up_failure failure = {0};
    char *text = up_allocate(size + 1, 1);
    memcpy(text, data, size);
    if (up_rig_parse("fuzz.ini", text, rig, &failure)) {
        must(failure.text[0] == '\0' && rig->line.loads >= 1 && rig->line.loads <= UP_LOADS_MAX);
        must(rig->id[0] != '\0' && strlen(rig->sha256) == 64);
        must(rig->line.time_unit_s > 0 || rig->line.rate_hz > 0);
        read_both_ways(&rig->line, lines, sizeof lines - 1);
    } else {
        must(failure.status == UP_STATUS_WRONG_INPUT && strstr(failure.text, "fuzz.ini") != NULL);
        must(strchr(failure.text, '\n') == NULL || strchr(text, '\n') != NULL);
    }
    free(text);
    free(rig);
    return 0;
}
