/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Any bytes under each kind of layout; the first byte chooses. */
#include <stdint.h>

#include "fuzz.h"
#include "upthrust/rig.h"

static const char *const sections[] = {
    "layout = bare\nword_bits = 24\nrate_hz = 10\n",
    "layout = fields\nseparator = comma\ntime_field = 1\ntime_unit = ms\nload_field = 2\n"
    "temp_field = 3\nword_bits = 24\n",
    "layout = fields\nseparator = blanks\nload_field = 2\nload_unit = printed\nrate_hz = 10\n"
    "status_field = 1\nstable_words = ST\nunstable_words = US\n",
    "layout = numbers\nload_field = 1\nload_unit = kg\nunstable_words = ?\nrate_hz = 10\n",
    "layout = labels\nload_label = weight:\ntime_label = t\ntime_unit = s\nother_bytes = pass\n",
    "layout = labels\nload_label = reading:\nvalue_line = next\nrate_hz = 10\n",
    "layout = json\nload_label = g\ntime_label = ms\ntime_unit = ms\nload_unit = g\n",
    "layout = bare\nframe_start = star\nframe_end = hash\nrate_hz = 10\n",
    "layout = bare\nframe_start = stx\nframe_bytes = 9\nload_unit = g\nrate_hz = 10\n"
    "unstable_words = M\n",
    "layout = fields\nseparator = comma\ncolumns = 4\nsequence_field = 1\ntime_field = 2\n"
    "time_unit = ms\nload_field = 3\ntemp_field = 4\nchecksum = crc16\nchecksum_after = star\n",
    "layout = fields\nseparator = tab\ndecimal = comma\nload_field = 1\nload_unit = N\nrate_hz = "
    "10\n",
    "layout = fields\nseparator = comma\ntime_field = 1\ntime_unit = hh:mm:ss\nload_field = 4\n",
    "layout = numbers\ntime_field = 2\ntime_unit = hh:mm:ss\nload_field = 3\nload_unit = g\n",
    "layout = json\nload_label = g\ntime_label = at\ntime_unit = hh:mm:ss\n",
};
enum { SECTIONS = sizeof sections / sizeof sections[0] };

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size) {
    static struct up_rig rig[SECTIONS];
    static bool ready;
    for (int i = 0; i < SECTIONS && !ready; i++) {
        struct up_failure failure;
        char text[600];
        snprintf(text, sizeof text,
                 "[rig]\nid = fuzz\n[sensor]\ndivision_counts = 0.001\n[line]\n%s", sections[i]);
        must(up_rig_parse("fuzz", text, &rig[i], &failure));
    }
    ready = true;
    if (size > 0) {
        read_both_ways(&rig[data[0] % SECTIONS].line, (const char *)data + 1, size - 1);
    }
    return 0;
}
