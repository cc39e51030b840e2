/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What another program does with the library: read a catalogue, ask for a density. */
#include <stdio.h>
#include <upthrust/catalogue.h>
#include <upthrust/water.h>

static bool count(const struct up_record *record, void *context) {
    ++*(int *)context;
    return record->content != NULL;
}

int main(int argc, char **argv) {
    struct up_water water = {.model = UP_WATER_SEA, .temp_c = 15, .salinity_g_kg = 35.16504};
    struct up_water_density density;
    struct up_catalogue *catalogue = NULL;
    struct up_failure failure = {0};
    int items = 0;
    if (!up_catalogue_open(argc > 1 ? argv[1] : ".", UP_CATALOGUE_READ, &catalogue, &failure) ||
        !up_catalogue_each(catalogue, "item", count, &items, &failure) ||
        !up_water_density(&water, &density, &failure)) {
        fprintf(stderr, "%s\n", failure.text);
        return (int)failure.status;
    }
    printf("%d items, %.2f kg/m3\n", items, density.density_kg_m3.value);
    up_catalogue_close(catalogue);
    return 0;
}
