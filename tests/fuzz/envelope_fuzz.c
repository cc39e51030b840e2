/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Any bytes as the envelope of a record: refused with a phrase, or written again to the byte; and
   whatever JSON it is has one canonical form, which reads back as the same. */
#include "change.h"
#include "fuzz.h"
#include "signing/signing.h"
#include "text/json.h"
#include "text/text.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static void must_read(const char *text) {
    struct up_envelope envelope;
    char fault[UP_FAULT_SIZE];
    if (up_envelope_read(text, &envelope, fault)) {
        UP_FREED char *again = up_envelope_write(&envelope);
        must(fault[0] == '\0' && again != NULL && strcmp(again, text) == 0);
    } else {
        must(fault[0] != '\0' && up_text_is_clean(fault) && envelope.replaces == NULL);
    }
    json_decref(envelope.replaces);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size) {
    UP_FREED char *text = up_text_format("%.*s", (int)size, (const char *)data);
    json_t *json = NULL, *same = NULL;
    bool canonical = up_json_is_canonical(text, &json);
    must_read(text);
    if (json != NULL) {
        UP_FREED char *form = up_json_canonical(json);
        must(form != NULL && canonical == (strcmp(form, text) == 0));
        must(up_json_is_canonical(form, &same) && json_equal(json, same));
        must_read(form);
    }
    json_decref(json);
    json_decref(same);
    return 0;
}

size_t LLVMFuzzerCustomMutator(uint8_t *data, size_t size, size_t max_size, unsigned seed) {
    chance_state = seed;
    char *text = chance_below(3) > 0 ? changed_json((const char *)data, size) : NULL;
    size_t length = text != NULL ? strlen(text) : 0;
    if (length == 0 || length > max_size) {
        length = LLVMFuzzerMutate(data, size, max_size);
    } else {
        memcpy(data, text, length);
    }
    free(text);
    return length;
}
