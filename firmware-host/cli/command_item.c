/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "cli.h"
#include "upthrust/text.h"

const struct option_text options_item[] = {
    {"name", "TEXT", "add: what people call it"},
    {"kind", "TEXT", "add: fin, boot, hood, light, lead, ..."},
    {"maker", "TEXT", "add: who makes it"},
    {"model", "TEXT", "add: the maker's word for it"},
    {"size", "TEXT", "add: as printed on it"},
    {"pair", NULL, "add: two pieces, always hung together"},
    {"tolerance-g", "G", "add: neutral is within this (default 50, a pair 100)"},
    {"expansion-per-k", "B", "add: volume expansion (default 4.5e-4)"},
    {"u-expansion-per-k", "U", "add: its standard uncertainty (default 0.9e-4)"},
    {"compressible", NULL, "add: foam or closed air; a result holds at its depth only"},
    {"water", "NAME", "list: only this water (repeatable)"},
    OPTION_UNITS,
    OPTION_CATALOGUE,
    OPTION_JSON,
    OPTION_END};

static bool take_text(const struct arguments *arguments, const char *name, char *to,
                      struct up_failure *failure) {
    const char *text = option_value(arguments, name);
    if (text == NULL) {
        return true;
    }
    if (strlen(text) >= UP_NAME_SIZE) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT, "--%s is longer than %d bytes", name,
                       UP_NAME_SIZE - 1);
    }
    memcpy(to, text, strlen(text) + 1);
    return true;
}

static bool read_item(const struct arguments *arguments, struct up_item *item,
                      struct up_failure *failure) {
    bool pair = option_given(arguments, "pair");
    *item = (struct up_item){.pieces = pair ? 2 : 1,
                             .tolerance_g = pair ? UP_TOLERANCE_PAIR_G : UP_TOLERANCE_ONE_G,
                             .expansion_per_k = UP_EXPANSION_PER_K,
                             .u_expansion_per_k = UP_U_EXPANSION_PER_K,
                             .compressible = option_given(arguments, "compressible")};
    return take_text(arguments, "name", item->name, failure) &&
           take_text(arguments, "kind", item->kind, failure) &&
           take_text(arguments, "maker", item->maker, failure) &&
           take_text(arguments, "model", item->model, failure) &&
           take_text(arguments, "size", item->size, failure) &&
           option_number(arguments, "tolerance-g", 0.1, 100000, &item->tolerance_g, failure) &&
           option_number(arguments, "expansion-per-k", 0, 0.01, &item->expansion_per_k, failure) &&
           option_number(arguments, "u-expansion-per-k", 0, 0.01, &item->u_expansion_per_k,
                         failure);
}

static void print_item(const struct up_item *item) {
    char *name = up_text_for_terminal(item->name);
    char *kind = up_text_for_terminal(item->kind);
    char *maker = up_text_for_terminal(item->maker);
    char *model = up_text_for_terminal(item->model);
    char *size = up_text_for_terminal(item->size);
    printf("%s  %s\n  %s, %s, maker %s, model %s, size %s\n  neutral within %.0f g%s\n", item->id,
           name, kind,
           item->pieces == 1   ? "one piece"
           : item->pieces == 2 ? "a pair"
                               : "several",
           maker[0] ? maker : "-", model[0] ? model : "-", size[0] ? size : "-", item->tolerance_g,
           item->compressible ? "; compressible: results hold at their depth only" : "");
    free(name);
    free(kind);
    free(maker);
    free(model);
    free(size);
}

static void tell(const struct up_item *item, bool json) {
    if (json) {
        json_t *document = up_item_to_json(item);
        json_object_set_new(document, "schema", json_string("upthrust-item-1"));
        json_object_set_new(document, "item_id", json_string(item->id));
        print_json(document);
    } else {
        print_item(item);
    }
}

static enum up_status add(const struct arguments *arguments, struct up_catalogue *catalogue,
                          struct up_failure *failure) {
    struct up_item item;
    if (!read_item(arguments, &item, failure) || !up_item_add(catalogue, &item, failure)) {
        return failure->status;
    }
    tell(&item, option_given(arguments, "json"));
    return UP_STATUS_DONE;
}

static enum up_status show(const struct arguments *arguments, struct up_catalogue *catalogue,
                           struct up_failure *failure) {
    struct up_item item;
    if (arguments->words != 2) {
        up_fail(failure, UP_STATUS_WRONG_INPUT, "item show: give one name or id");
        return failure->status;
    }
    if (!up_item_find(catalogue, arguments->word[1], &item, failure)) {
        return failure->status;
    }
    tell(&item, option_given(arguments, "json"));
    return UP_STATUS_DONE;
}

enum up_status command_item(const struct arguments *arguments, struct up_failure *failure) {
    const char *verb = arguments->words > 0 ? arguments->word[0] : "";
    struct up_catalogue *catalogue = NULL;
    bool adding = strcmp(verb, "add") == 0;
    enum up_status status;
    if (!adding && strcmp(verb, "list") != 0 && strcmp(verb, "show") != 0) {
        up_fail(failure, UP_STATUS_WRONG_INPUT, "item: say add, list or show");
        return failure->status;
    }
    if (!open_catalogue(arguments, adding ? UP_CATALOGUE_CREATE : UP_CATALOGUE_READ, &catalogue,
                        failure)) {
        return failure->status;
    }
    status = adding                      ? add(arguments, catalogue, failure)
             : strcmp(verb, "show") == 0 ? show(arguments, catalogue, failure)
                                         : list_items(arguments, catalogue, failure);
    up_catalogue_close(catalogue);
    return status;
}
