/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Parts of a kit that are gear of the catalogue: what the bench measured of an item, or of the
   samples of a model. */
#include <gsl/gsl_cdf.h>
#include <gsl/gsl_statistics_double.h>
#include <math.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "catalogue/claim.h"
#include "catalogue/records.h"
#include "catalogue/verification.h"
#include "kit/internal.h"
#include "kit/kit_file.h"
#include "text/text.h"

/* One sample shows no spread: another one is within 100 g of it a piece, standard (our choice). */
static const double ONE_SAMPLE_KG = 0.1;
enum { SAMPLES_MAX = 100 };

/* ---- the catalogue, read once ---- */

struct taking {
    struct kit_file *file;
    json_t *verifications, *later, *contested;
};

/* What was made, adopted or measured here counts, whatever others put under its id. */
static bool note_contested(const struct up_doubtful_record *doubtful, void *context) {
    if (doubtful->why == UP_RECORD_CONTESTED && !doubtful->held) {
        json_object_set_new(context, doubtful->id, json_true());
    }
    return true;
}

static bool take_item(const struct up_record *record, void *context) {
    const struct taking *taking = context;
    struct kit_file *file = taking->file;
    struct kit_gear gear = {.result = NULL};
    if (up_item_from_json(record->content, &gear.item) && !gear.item.retired) {
        memcpy(gear.item.id, record->subject, sizeof gear.item.id);
        gear.contested = json_object_get(taking->contested, record->id) != NULL;
        file->gear = up_reallocate(file->gear, file->gears + 1, sizeof *file->gear);
        file->gear[file->gears++] = gear;
    }
    return true;
}

static struct kit_gear *gear_of(const struct kit_file *file, const char *item_id) {
    for (size_t i = 0; i < file->gears; i++) {
        if (strcmp(file->gear[i].item.id, item_id) == 0) {
            return &file->gear[i];
        }
    }
    return NULL;
}

/* One that is calculated does not stand in the way of one that is measured. */
static bool stays(const struct kit_gear *gear, const struct up_record *record) {
    bool measured = strcmp(up_record_text(record->content, "water"), "tank") == 0;
    struct up_claim_rank there = {gear->elsewhere, gear->result->quick.is, gear->result->pieces};
    struct up_claim_rank comes = {record->elsewhere, up_claim_is_quick(record->content),
                                  up_claim_pieces_of(record->content)};
    there.quick = there.quick || (measured && !gear->result->measured);
    return up_claim_stays(there, comes);
}

/* Records come oldest first: the newest measurement in a tank stays; one of elsewhere only where
   none was made here, a quick one only where there is no full one, a calculated one only where none
   was measured. */
static bool take_result(const struct up_record *record, void *context) {
    const struct taking *taking = context;
    struct kit_gear *gear = gear_of(taking->file, up_record_text(record->content, "item_id"));
    bool tank = strcmp(up_record_text(record->content, "water"), "tank") == 0;
    if (gear == NULL ||
        (gear->result != NULL && ((!tank && gear->result->measured) || stays(gear, record)))) {
        return true;
    }
    gear->result = gear->result != NULL ? gear->result : up_allocate(1, sizeof *gear->result);
    up_result_from_json(record->content, gear->result);
    up_decision_apply(json_object_get(taking->later, record->id), gear->result);
    gear->result_contested =
        json_object_get(taking->contested, record->id) != NULL ||
        json_object_get(taking->contested, gear->result->calibration_id) != NULL;
    memcpy(gear->bench, record->bench, sizeof gear->bench);
    gear->elsewhere = record->elsewhere;
    snprintf(gear->checked, sizeof gear->checked, "%.15s",
             up_record_text(taking->verifications, record->id));
    return true;
}

static bool load_gear(struct kit_file *file, struct up_failure *failure) {
    if (file->gears > 0) {
        return true;
    }
    struct taking taking = {file, up_verifications(file->catalogue, failure),
                            up_decisions_later(file->catalogue, failure), json_object()};
    bool good = taking.verifications != NULL && taking.later != NULL &&
                up_catalogue_check(file->catalogue, note_contested, taking.contested, failure) &&
                up_catalogue_each(file->catalogue, "item", take_item, &taking, failure) &&
                up_catalogue_each(file->catalogue, "result", take_result, &taking, failure);
    json_decref(taking.verifications);
    json_decref(taking.later);
    json_decref(taking.contested);
    return good;
}

/* ---- what counts only by name ---- */

const struct kit_doubt kit_doubts[KIT_DOUBTS] = {
    {"contested", "another catalogue has other content under its id (`upthrust check-catalogue`)"},
    {"elsewhere", "its result came from elsewhere; weigh it here"},
    {"quick", "it was weighed quickly; weigh it in full"},
    {"calculated", "its result was calculated; weigh it"},
    {"simulated", "it is invented gear of a simulated bench"},
    {"undecided", "its class is undecided; weigh it again"},
    {"compressible",
     "it holds gas, and its result is good at the tank's depth only; enter it as a suit"},
    {"outside", "a reference body was outside its limits; calibrate and weigh it again"},
    {"unchecked", "no reference body has checked its bench; weigh one (measure --body)"}};

static unsigned doubts_of(const struct kit_gear *gear) {
    const bool so[KIT_DOUBTS] = {gear->contested || gear->result_contested,
                                 gear->elsewhere,
                                 gear->result->quick.is,
                                 !gear->result->measured,
                                 gear->result->simulated,
                                 gear->result->answer.class == UP_CLASS_UNDECIDED,
                                 gear->item.compressible,
                                 strcmp(gear->checked, "outside") == 0,
                                 strcmp(gear->checked, "inside") != 0};
    unsigned doubts = 0;
    for (unsigned i = 0; i < KIT_DOUBTS; i++) {
        doubts |= so[i] ? 1U << i : 0;
    }
    return doubts;
}

/* The first reason not to use a result that was not accepted, with what to do instead. */
static const char *doubt_of(const struct kit_file *file, const struct place *place,
                            const struct kit_gear *gear, const char **instead) {
    unsigned doubts = doubts_of(gear);
    for (unsigned i = 0; i < KIT_DOUBTS; i++) {
        const char *word = kit_doubts[i].word;
        if ((doubts >> i & 1) != 0 && !lists(file->accept, word) &&
            !lists(place != NULL ? json_object_get(place->json, "accept") : NULL, word)) {
            *instead = kit_doubts[i].instead;
            return word;
        }
    }
    return NULL;
}

static int pieces_of(const struct kit_gear *gear) {
    int pieces = gear->result->pieces > 0 ? gear->result->pieces : gear->item.pieces;
    return pieces > 0 ? pieces : 1;
}

/* Pieces, of the fins that are worn; of fins by data both. */
static double fin_pieces(const struct kit_file *file) {
    const struct kit_gear *present = file->source[file->fins];
    return present != NULL ? pieces_of(present) * file->count[file->fins] : 2;
}

/* How often it is worn; other fins, where nobody says, in as many pieces as the present ones. */
static double worn_of(const struct kit_file *file, const struct place *place,
                      const struct kit_gear *gear) {
    const char *instead = text_at(place, "instead_of", "");
    double count = number_at(place, "count");
    bool fins =
        file->fins < file->kit.parts && strcmp(instead, file->kit.part[file->fins].name) == 0;
    return !isnan(count) ? count : fins ? fin_pieces(file) / pieces_of(gear) : 1;
}

/* ---- an item ---- */

/* So often worn, each like the one that was weighed. */
static void set_part(const struct kit_gear *gear, double count, struct up_part *part) {
    const struct up_answer *answer = &gear->result->answer;
    /* Of a quick weighing u holds no bounds: its interval does, in 1.96 of them. */
    bool quick = gear->result->quick.is;
    double u_kg = count * (quick ? answer->expanded_u_kg / 1.96 : answer->buoyancy_kg.u);
    part->buoyancy_kg = (struct up_bounded){count * answer->buoyancy_kg.value, u_kg, false};
    part->stuck_air_kg = count * fmax(answer->stuck_air_kg, 0);
    part->density_kg_m3 = gear->result->water_density_kg_m3.value;
    part->volume_m3 = (struct up_bounded){count * answer->volume_m3, 0, false};
    if (!isnan(answer->volume_m3)) { /* a gram on the hook is a millilitre */
        part->volume_m3.u = u_kg / part->density_kg_m3;
    }
}

static bool read_item(struct kit_file *file, const struct place *place, struct up_part *part) {
    struct up_item item;
    const char *instead, *doubt;
    if (!up_item_find(file->catalogue, text_at(place, "item", ""), &item, place->failure)) {
        return false;
    }
    const struct kit_gear *gear = gear_of(file, item.id);
    if (gear == NULL || gear->result == NULL) {
        return wrong_at(place, "item",
                        "it has not been measured yet, is retired, or is set aside (`upthrust "
                        "check-catalogue`)");
    }
    if (gear->result->quick.at_most) {
        return wrong_at(place, "item",
                        "its net is known from above only (a quick weighing, not shaken); weigh it "
                        "in full");
    }
    doubt = doubt_of(file, place, gear, &instead);
    if (doubt != NULL) {
        return wrong_at(place, "item",
                        "%s, or write \"accept\": [\"%s\"] beside it to use its grams", instead,
                        doubt);
    }
    file->source[file->kit.parts] = gear;
    file->accepted[file->kit.parts] = doubts_of(gear);
    file->count[file->kit.parts] = worn_of(file, place, gear);
    set_part(gear, file->count[file->kit.parts], part);
    return true;
}

/* ---- a model ---- */

static bool is_of_model(const struct place *place, const struct up_item *item) {
    return strcmp(text_at(place, "model", ""), item->model) == 0 &&
           strcmp(text_at(place, "maker", item->maker), item->maker) == 0 &&
           strcmp(text_at(place, "size", item->size), item->size) == 0;
}

/* Another piece of the model lies about the mean of n samples as Student's t with n - 1 degrees of
   freedom (its 95 % interval, kept by a normal distribution), and each was weighed with an error
   that all may share. */
static double spread_kg(const double *buoyancy_kg, size_t count, double u_kg, double pieces) {
    double n = (double)count, between_kg = ONE_SAMPLE_KG * pieces * sqrt(2);
    if (count > 1) {
        between_kg = gsl_stats_sd(buoyancy_kg, 1, count) * sqrt(1 + 1 / n) *
                     gsl_cdf_tdist_Pinv(0.975, n - 1) / gsl_cdf_ugaussian_Pinv(0.975);
    }
    return hypot(between_kg, u_kg);
}

static bool read_model(struct kit_file *file, const struct place *place, struct up_part *part) {
    double buoyancy_kg[SAMPLES_MAX], volumes_m3 = 0, u_kg = 0, rho0 = 0;
    static const char quick_model[] =
        "weighed quickly, which leans away from the lines; weigh it in full";
    const char *instead = "none of it was measured", *doubt;
    size_t count = 0, doubtful = 0;
    double worn = 1;
    int pieces = 0;
    for (size_t i = 0; i < file->gears && count < SAMPLES_MAX; i++) {
        const struct kit_gear *gear = &file->gear[i];
        if (gear->result == NULL || !is_of_model(place, &gear->item) ||
            isnan(gear->result->answer.volume_m3) || (count > 0 && pieces_of(gear) != pieces)) {
            continue;
        }
        doubt = gear->result->quick.is ? "quick" : doubt_of(file, place, gear, &instead);
        instead = gear->result->quick.is ? quick_model : instead;
        doubtful += doubt != NULL;
        if (doubt == NULL) {
            const struct up_answer *answer = &gear->result->answer;
            file->accepted[file->kit.parts] |= doubts_of(gear);
            double rho = gear->result->water_density_kg_m3.value;
            rho0 = count == 0 ? rho : rho0;
            pieces = pieces_of(gear);
            worn = worn_of(file, place, gear);
            volumes_m3 += answer->volume_m3;
            buoyancy_kg[count++] = answer->buoyancy_kg.value + (rho0 - rho) * answer->volume_m3;
            u_kg = fmax(u_kg, answer->buoyancy_kg.u);
            part->stuck_air_kg = fmax(part->stuck_air_kg, answer->stuck_air_kg);
        }
    }
    if (count == 0) {
        return wrong_at(place, "model", "no sample of it counts (%zu left out: %s)", doubtful,
                        instead);
    }
    file->count[file->kit.parts] = worn;
    double spread = worn * spread_kg(buoyancy_kg, count, u_kg, pieces);
    part->density_kg_m3 = rho0;
    part->stuck_air_kg *= worn;
    part->buoyancy_kg =
        (struct up_bounded){worn * gsl_stats_mean(buoyancy_kg, 1, count), spread, false};
    part->volume_m3 = (struct up_bounded){worn * volumes_m3 / (double)count, spread / rho0, false};
    file->samples[file->kit.parts] = (unsigned)count;
    return true;
}

bool read_catalogue_gear(struct kit_file *file, const struct place *place, struct up_part *part) {
    const char *key = has(place, "item") ? "item" : "model";
    if (file->catalogue == NULL) {
        return wrong_at(place, key, "there is no catalogue to look this %s up in", key);
    }
    return load_gear(file, place->failure) &&
           (has(place, "item") ? read_item(file, place, part) : read_model(file, place, part));
}

/* ---- other fins ---- */

static bool add_fin(struct kit_file *file, const struct kit_gear *gear, double worn) {
    size_t here = file->kit.parts, other;
    struct up_part *part = &file->kit.part[here];
    *part = (struct up_part){.kind = UP_PART_GEAR, .spare = true, .instead_of = file->fins};
    part->place_m.value = (double)NAN; /* where the fins sit */
    file->count[here] = worn / pieces_of(gear);
    set_part(gear, file->count[here], part);
    if (!check_volume(part, &file->dive.state, "", NULL)) {
        return false;
    }
    bool one = file->count[here] == 1;
    snprintf(part->name, sizeof part->name, one ? "%.300s" : "%.300s, %g of it", gear->item.name,
             file->count[here]);
    if (part_named(file, part->name, &other)) {
        snprintf(part->name, sizeof part->name, "%.300s (%.8s)", gear->item.name, gear->item.id);
    }
    file->source[here] = gear;
    file->accepted[here] = doubts_of(gear);
    file->kit.parts++;
    return true;
}

static bool is_part(const struct kit_file *file, const struct kit_gear *gear) {
    size_t i = 0;
    while (i < file->kit.parts && file->source[i] != gear) {
        i++;
    }
    return i < file->kit.parts;
}

bool add_fins_of_catalogue(struct kit_file *file, struct up_failure *failure) {
    if (file->catalogue == NULL || file->fins == SIZE_MAX) {
        return true;
    }
    if (!load_gear(file, failure)) {
        return false;
    }
    const struct kit_gear *present = file->source[file->fins];
    const char *instead, *kind = present != NULL ? present->item.kind : "fin";
    double worn = fin_pieces(file);
    for (size_t i = 0; i < file->gears; i++) {
        const struct kit_gear *gear = &file->gear[i];
        if (gear->result == NULL || is_part(file, gear) || strcmp(gear->item.kind, kind) != 0) {
            continue;
        }
        file->fins_omitted += gear->result->quick.at_most ||
                              doubt_of(file, NULL, gear, &instead) != NULL ||
                              file->kit.parts == UP_KIT_PARTS_MAX || !add_fin(file, gear, worn);
    }
    return true;
}

/* ---- errors that several results share ---- */

/* Whether two results share what an error of this sharing comes from. Masses and filling are a
   bench's, which errs on the side of too much in common. */
static bool shares(const struct kit_gear *a, const struct kit_gear *b, enum up_sharing sharing) {
    switch (sharing) {
    case UP_SHARED_WEIGHING:
    case UP_SHARED_SESSION:
        return strcmp(a->result->run_id, b->result->run_id) == 0;
    case UP_SHARED_ITEM:
        return strcmp(a->result->item_id, b->result->item_id) == 0;
    case UP_SHARED_CALIBRATION:
        return strcmp(a->result->calibration_id, b->result->calibration_id) == 0;
    case UP_SHARED_MASSES:
    case UP_SHARED_TANK_WATER:
        return strcmp(a->bench, b->bench) == 0;
    case UP_SHARED_TARGET_WATER:
    case UP_SHARINGS:
        break;
    }
    return false;
}

static void number_origins(const struct kit_gear *const source[], struct up_origin *origin,
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
    const struct kit_gear *source[UP_KIT_PARTS_MAX];
    const struct up_weighing *weighing[UP_KIT_PARTS_MAX];
    struct up_origin origin[UP_KIT_PARTS_MAX];
    size_t part[UP_KIT_PARTS_MAX], count = 0, parts = file->kit.parts;
    for (size_t i = 0; i < parts; i++) {
        if (file->source[i] != NULL && file->source[i]->result->has_model) {
            source[count] = file->source[i];
            weighing[count] = &source[count]->result->weighing;
            part[count++] = i;
        }
    }
    if (count < 2) {
        return;
    }
    double *among_kg2 = up_allocate(count * count, sizeof *among_kg2);
    number_origins(source, origin, count);
    up_covariance_kg2(weighing, origin, count, among_kg2);
    file->covariance_kg2 = up_allocate(parts * parts, sizeof *file->covariance_kg2);
    for (size_t i = 0; i < parts; i++) {
        double u_kg = file->kit.part[i].buoyancy_kg.u;
        file->covariance_kg2[i * parts + i] = u_kg * u_kg;
    }
    for (size_t i = 0; i < count; i++) {
        for (size_t k = 0; k < count; k++) {
            file->covariance_kg2[part[i] * parts + part[k]] =
                among_kg2[i * count + k] * file->count[part[i]] * file->count[part[k]];
        }
    }
    free(among_kg2);
    file->kit.covariance_kg2 = file->covariance_kg2;
}
