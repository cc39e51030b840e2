/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "operator/panel.h"

void up_contact_begin(struct up_contact *contact, double debounce_s, double time_s, bool level) {
    *contact = (struct up_contact){
        .debounce_s = debounce_s, .level = level, .raw = level, .raw_s = time_s, .since_s = time_s};
}

bool up_contact_push(struct up_contact *contact, double time_s, bool level) {
    bool changes = contact->raw != contact->level && time_s - contact->raw_s >= contact->debounce_s;
    if (changes) {
        contact->level = contact->raw;
        contact->since_s = contact->raw_s;
    }
    if (level != contact->raw) {
        contact->raw = level;
        contact->raw_s = time_s;
    }
    return changes;
}
