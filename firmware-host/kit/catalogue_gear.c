/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Parts of a kit that are items of the catalogue: what the bench measured of them. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "catalogue/records.h"
#include "kit/kit_file.h"
#include "text/text.h"

struct search {
    const char *item_id;
    struct up_result *result;
    char bench[UP_NAME_SIZE];
    bool found, elsewhere;
};

/* Records come oldest first: the newest measurement in a tank stays; one of elsewhere only where
   none was made here. */
static bool find_in_tank(const struct up_record *record, void *context) {
    struct search *search = context;
    if (strcmp(up_record_text(record->content, "item_id"), search->item_id) == 0 &&
        strcmp(up_record_text(record->content, "water"), "tank") == 0 &&
        !(record->elsewhere && search->found && !search->elsewhere)) {
        up_result_from_json(record->content, search->result);
        memcpy(search->bench, record->bench, sizeof search->bench);
        search->found = true;
        search->elsewhere = record->elsewhere;
    }
    return true;
}

static bool is_accepted(const struct place *place, const char *word) {
    const json_t *accept = json_object_get(place->json, "accept");
    for (size_t i = 0; i < json_array_size(accept); i++) {
        const char *given = json_string_value(json_array_get(accept, i));
        if (given != NULL && strcmp(given, word) == 0) {
            return true;
        }
    }
    return false;
}

static bool check_result(const struct place *place, const struct up_item *item,
                         const struct up_result *result) {
    if (result->answer.class == UP_CLASS_UNDECIDED && !is_accepted(place, "undecided")) {
        return wrong_at(place, "item",
                        "the class of this item is undecided; weigh it again, or write \"accept\": "
                        "[\"undecided\"] beside it to use its grams");
    }
    if (item->compressible && !is_accepted(place, "compressible")) {
        return wrong_at(place, "item",
                        "this item holds gas, and its result is good at the tank's depth only; "
                        "enter it as a suit, or write \"accept\": [\"compressible\"]");
    }
    return true;
}

static void set_part(const struct up_result *result, struct up_part *part) {
    const struct up_answer *answer = &result->answer;
    double u_kg = answer->buoyancy_kg.u;
    part->buoyancy_kg = (struct up_bounded){answer->buoyancy_kg.value, u_kg, false};
    part->density_kg_m3 = result->water_density_kg_m3.value;
    part->volume_m3 = (struct up_bounded){answer->volume_m3, 0, false};
    if (!isnan(answer->volume_m3)) { /* a gram on the hook is a millilitre */
        part->volume_m3.u = u_kg / part->density_kg_m3;
    }
}

bool read_catalogue_item(struct kit_file *file, const struct place *place, struct up_part *part) {
    char wanted[UP_NAME_SIZE];
    struct up_item item;
    struct kit_source *source = &file->source[file->kit.parts];
    if (!text(place, "item", NULL, wanted, sizeof wanted)) {
        return false;
    }
    if (file->catalogue == NULL) {
        return wrong_at(place, "item", "there is no catalogue to look this item up in");
    }
    if (!up_item_find(file->catalogue, wanted, &item, place->failure)) {
        return false;
    }
    source->result = up_allocate(1, sizeof *source->result);
    struct search search = {.item_id = item.id, .result = source->result};
    if (!up_catalogue_each(file->catalogue, "result", find_in_tank, &search, place->failure)) {
        return false;
    }
    if (!search.found) {
        return wrong_at(place, "item", "it has not been measured yet");
    }
    memcpy(source->bench, search.bench, sizeof source->bench);
    set_part(source->result, part);
    if (search.elsewhere && !is_accepted(place, "elsewhere")) {
        return wrong_at(place, "item",
                        "its result came from elsewhere; weigh it here, or write "
                        "\"accept\": [\"elsewhere\"] beside it to use its grams");
    }
    return check_result(place, &item, source->result);
}

/* ---- errors that several results share ---- */

static bool same_text(const char *a, const char *b) {
    return strcmp(a, b) == 0;
}

/* Whether two results share what an error of this sharing comes from. Masses and filling are a
   bench's, which errs on the side of too much in common. */
static bool shares(const struct kit_source *a, const struct kit_source *b,
                   enum up_sharing sharing) {
    switch (sharing) {
    case UP_SHARED_WEIGHING:
    case UP_SHARED_SESSION:
        return same_text(a->result->run_id, b->result->run_id);
    case UP_SHARED_ITEM:
        return same_text(a->result->item_id, b->result->item_id);
    case UP_SHARED_CALIBRATION:
        return same_text(a->result->calibration_id, b->result->calibration_id);
    case UP_SHARED_MASSES:
    case UP_SHARED_TANK_WATER:
        return same_text(a->bench, b->bench);
    case UP_SHARED_TARGET_WATER:
    case UP_SHARINGS:
        break;
    }
    return false;
}

static void number_origins(const struct kit_source *const source[], struct up_origin *origin,
                           size_t count) {
    for (int s = 0; s < UP_SHARINGS; s++) {
        for (size_t i = 0; i < count; i++) {
            size_t first = 0;
            while (first < i && !shares(source[i], source[first], (enum up_sharing)s)) {
                first++;
            }
            origin[i].of[s] = (unsigned)first;
        }
    }
}

void share_errors_of_results(struct kit_file *file) {
    const struct kit_source *source[UP_KIT_PARTS_MAX];
    const struct up_weighing *weighing[UP_KIT_PARTS_MAX];
    struct up_origin origin[UP_KIT_PARTS_MAX];
    double among_kg2[UP_KIT_PARTS_MAX * UP_KIT_PARTS_MAX];
    size_t part[UP_KIT_PARTS_MAX], count = 0, parts = file->kit.parts;
    for (size_t i = 0; i < parts; i++) {
        if (file->source[i].result != NULL && file->source[i].result->has_model) {
            source[count] = &file->source[i];
            weighing[count] = &file->source[i].result->weighing;
            part[count++] = i;
        }
    }
    if (count < 2) {
        return;
    }
    number_origins(source, origin, count);
    up_covariance_kg2(weighing, origin, count, among_kg2);
    file->covariance_kg2 = up_allocate(parts * parts, sizeof *file->covariance_kg2);
    for (size_t i = 0; i < parts; i++) {
        double u_kg = file->kit.part[i].buoyancy_kg.u;
        file->covariance_kg2[i * parts + i] = u_kg * u_kg;
    }
    for (size_t i = 0; i < count; i++) {
        for (size_t k = 0; k < count; k++) {
            file->covariance_kg2[part[i] * parts + part[k]] = among_kg2[i * count + k];
        }
    }
    file->kit.covariance_kg2 = file->covariance_kg2;
}
