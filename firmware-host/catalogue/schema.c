/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <stdlib.h>
#include <string.h>

#include "internal.h"
#include "upthrust/text.h"

static const char *const item_columns[] = {"name",
                                           "kind",
                                           "maker",
                                           "model",
                                           "size",
                                           "pieces",
                                           "tolerance_g",
                                           "expansion_per_k",
                                           "u_expansion_per_k",
                                           "compressible",
                                           NULL};
static const char *const calibration_columns[] = {"bench",
                                                  "slope_counts_kg",
                                                  "u_slope_counts_kg",
                                                  "dof",
                                                  "mass_tolerance_rel",
                                                  "lack_of_fit_kg",
                                                  "offset_counts",
                                                  "u_offset_counts",
                                                  "creep_rel_decade",
                                                  "noise_counts",
                                                  "air_density_kg_m3",
                                                  "read_after_s",
                                                  "window_s",
                                                  "span_kg",
                                                  "rig_sha256",
                                                  "bench_sequence",
                                                  "unloading_slope_counts_kg",
                                                  "u_unloading_slope_counts_kg",
                                                  "quadratic_counts_kg2",
                                                  "hysteresis_kg",
                                                  "mass_class",
                                                  "temp_c",
                                                  "preloaded",
                                                  NULL};
static const char *const result_columns[] = {"item_id",
                                             "run_id",
                                             "water",
                                             "basis",
                                             "water_density_kg_m3",
                                             "u_water_density_kg_m3",
                                             "water_temp_c",
                                             "salinity_g_kg",
                                             "depth_m",
                                             "immersion_depth_m",
                                             "air_pressure_pa",
                                             "soak_s",
                                             "compressible",
                                             "buoyancy_g",
                                             "u_buoyancy_g",
                                             "dof",
                                             "expanded_u_g",
                                             "coverage",
                                             "tolerance_g",
                                             "confidence",
                                             "probability_positive",
                                             "probability_neutral",
                                             "probability_negative",
                                             "class",
                                             "trials",
                                             "volume_m3",
                                             "mass_kg",
                                             "method",
                                             "bench",
                                             NULL};

const struct catalogue_table catalogue_tables[CATALOGUE_TABLES] = {
    {"item", "item_id", "items.csv", "items", item_columns},
    {"calibration", "calibration_id", "calibrations.csv", "calibrations", calibration_columns},
    {"result", "result_id", "results.csv", "results", result_columns},
};

/* recursive_triggers closes the way round the DELETE trigger that REPLACE would be; it holds for
   connections of ours only. record_once closes it for every connection, and also where REPLACE
   names a rowid that is taken. The same record again is let go: that is what merging meets. */
static const char tables[] =
    "CREATE TABLE record ("
    " id TEXT NOT NULL, sha256 TEXT NOT NULL, kind TEXT NOT NULL, subject TEXT NOT NULL,"
    " bench TEXT NOT NULL, made_utc TEXT NOT NULL, body TEXT NOT NULL,"
    " PRIMARY KEY (id, sha256));"
    "CREATE TABLE replaces ("
    " new_id TEXT NOT NULL, old_id TEXT NOT NULL, PRIMARY KEY (new_id, old_id)) WITHOUT ROWID;"
    "CREATE INDEX record_subject ON record (kind, subject);"
    "CREATE INDEX replaces_old ON replaces (old_id);"
    "CREATE TRIGGER record_once BEFORE INSERT ON record"
    " WHEN EXISTS (SELECT 1 FROM record WHERE rowid = NEW.rowid"
    "  OR (id = NEW.id AND sha256 = NEW.sha256))"
    " BEGIN SELECT CASE WHEN EXISTS (SELECT 1 FROM record WHERE id = NEW.id"
    "  AND sha256 = NEW.sha256 AND kind = NEW.kind AND subject = NEW.subject"
    "  AND bench = NEW.bench AND made_utc = NEW.made_utc AND body = NEW.body)"
    "  THEN RAISE(IGNORE) ELSE RAISE(ABORT, 'records are never changed') END; END;"
    "CREATE TRIGGER record_kept BEFORE UPDATE ON record"
    " BEGIN SELECT RAISE(ABORT, 'records are never changed'); END;"
    "CREATE TRIGGER record_stays BEFORE DELETE ON record"
    " BEGIN SELECT RAISE(ABORT, 'records are never removed'); END;"
    "CREATE TRIGGER replaces_kept BEFORE UPDATE ON replaces"
    " BEGIN SELECT RAISE(ABORT, 'records are never changed'); END;"
    "CREATE TRIGGER replaces_stays BEFORE DELETE ON replaces"
    " BEGIN SELECT RAISE(ABORT, 'records are never removed'); END;"
    "CREATE VIEW live AS SELECT id, sha256, kind, subject, bench, made_utc, body FROM record"
    " WHERE id NOT IN (SELECT old_id FROM replaces);"
    "CREATE VIEW current AS SELECT id, sha256, kind, subject, bench, made_utc, body FROM ("
    " SELECT *, row_number() OVER (PARTITION BY kind, subject"
    "  ORDER BY made_utc DESC, id DESC) AS place FROM live) WHERE place = 1;";

/* Takes `text` and returns it with the rest behind it. */
static char *append(char *text, char *more) {
    char *both = up_text_format("%s%s", text, more);
    free(text);
    free(more);
    return both;
}

/* json_extract and not ->>: a reader with an SQLite from before 3.38 could not even open the file
   otherwise. */
static char *view(char *sql, const struct catalogue_table *table) {
    sql = append(sql, up_text_format("CREATE VIEW %s AS SELECT subject AS %s, id AS record_id,"
                                     " made_utc",
                                     table->kind, table->id_name));
    for (const char *const *key = table->columns; *key != NULL; key++) {
        sql =
            append(sql, strcmp(*key, "bench") == 0
                            ? up_text_format(", bench")
                            : up_text_format(", json_extract(body, '$.%s') AS \"%s\"", *key, *key));
    }
    return append(sql, up_text_format(" FROM current WHERE kind = '%s';", table->kind));
}

char *catalogue_schema(void) {
    char *sql = up_text_format("%s", tables);
    for (size_t i = 0; i < CATALOGUE_TABLES; i++) {
        sql = view(sql, &catalogue_tables[i]);
    }
    return sql;
}
