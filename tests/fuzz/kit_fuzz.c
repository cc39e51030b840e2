/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Any bytes as a kit file: refused with one line, or a kit whose answers are numbers. */
#include "fuzz.h"
#include "kit/kit_file.h"
#include "text/text.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static void must_answer(struct kit_file *file) {
    struct up_kit_draws *draws;
    struct up_failure failure = {0};
    struct up_kit_answer lead;
    struct up_kit_state state = file->dive.state;
    file->kit.draws = 50;
    state.pressure_bar = file->dive.reserve_bar;
    if (!up_kit_solve(&file->kit, &draws, &failure)) {
        must(failure.text[0] != '\0');
        return;
    }
    if (up_kit_lead_kg(draws, &state, &lead, &failure)) {
        must(isfinite(lead.value) && lead.least <= lead.low && lead.low <= lead.high &&
             lead.high <= lead.most);
    }
    up_kit_free(draws);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size) {
    struct kit_file *file = up_allocate(1, sizeof *file);
    struct up_failure failure = {0};
    if (kit_parse("fuzz.json", (const char *)data, size, NULL, file, &failure)) {
        must(failure.text[0] == '\0' && file->kit.parts <= UP_KIT_PARTS_MAX);
        must_answer(file);
        kit_release(file);
    } else {
        must(failure.status == UP_STATUS_WRONG_INPUT && strstr(failure.text, "fuzz.json") != NULL);
    }
    free(file);
    return 0;
}
