/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Help for each command of the table beside its row. A new command gets its line here;
   tests/cli/help_test.sh asks for one. */
#include <string.h>

#include "cli.h"

static const struct help_text texts[] = {
    {"setup", HELP_AT_THE_TANK, "setup --rig my-rig.ini\n"},
    {"ports", HELP_AT_THE_TANK,
     "ports\n"
     "ports --listen --port /dev/ttyUSB0 --write my-rig.ini\n"},
    {"listen", HELP_AT_THE_TANK,
     "listen --rig my-rig.ini\n"
     "listen --rig my-rig.ini --replay capture.txt --json\n"},
    {"rig-check", HELP_AT_THE_TANK,
     "rig-check --rig my-rig.ini\n"
     "rig-check --rig my-rig.ini --no-walk --mass-kg 3.5 --lift-g 900 --length-m 0.5\n"},
    {"calibrate", HELP_AT_THE_TANK,
     "calibrate --rig my-rig.ini --masses-g 500,1000,2000,4000 --mass-class M1\n"
     "calibrate --rig my-scale.ini --masses-g 500,1000,2000,5000\n"},
    {"measure", HELP_AT_THE_TANK,
     "measure --rig my-rig.ini --item \"My fin\"\n"
     "measure --rig my-rig.ini --item \"My fin\" --water sea,temp_c=18,salinity_g_kg=38\n"
     "measure --rig my-rig.ini --queue stock.txt --trials 4,6,8\n"
     "measure --rig my-rig.ini --resume\n"
     "measure --replay 3f2a\n"},
    {"calibration", HELP_AT_THE_TANK,
     "calibration list\n"
     "calibration show\n"
     "calibration adopt --rig my-rig.ini --masses-g 2000\n"},
    {"item", HELP_CATALOGUE,
     "item add --name \"My fin\" --kind fin --size L\n"
     "item list --water fresh --units imperial\n"
     "item list --kind fin --class positive --sort up\n"
     "item list new strap\n"
     "item rename \"My fin\" \"Old fin\"\n"
     "item retire \"Old fin\"\n"},
    {"body", HELP_CATALOGUE,
     "body add --name Steel --mass-g 1000.12 --u-mass-g 0.02 --density-kg-m3 7850 --u-volume-cm3 "
     "0.05\n"
     "body show Steel\n"},
    {"kind", HELP_CATALOGUE,
     "kind list\n"
     "kind set fin --tolerance-g 40 --tolerance-pair-g 80\n"},
    {"show", HELP_CATALOGUE,
     "show \"My fin\"\n"
     "show 3f2a --json\n"},
    {"explain", HELP_CATALOGUE,
     "explain\n"
     "explain \"My fin\" --water sea\n"},
    {"decide", HELP_CATALOGUE,
     "decide --kind fin --tolerance-g 80 --dry-run\n"
     "decide --item \"My fin\" --water sea,temp_c=18\n"},
    {"kit", HELP_CATALOGUE,
     "kit new my-kit.json\n"
     "kit report my-kit.json\n"
     "kit page my-kit.json --to my-dive\n"},
    {"plot", HELP_CATALOGUE,
     "plot\n"
     "plot --run latest --rig my-rig.ini\n"},
    {"import", HELP_CATALOGUE, "import their-catalogue.json\n"},
    {"merge", HELP_CATALOGUE,
     "merge /media/stick/catalogue --dry-run\n"
     "merge /media/stick/catalogue\n"},
    {"check-catalogue", HELP_CATALOGUE,
     "check-catalogue\n"
     "check-catalogue --set-aside 3f2a1b00-... --reason \"the hook was wet\"\n"},
    {"export", HELP_CATALOGUE, "export --format csv --to shared-folder\n"},
    {"water", HELP_TOOLS,
     "water --temp-c 12\n"
     "water --temp-c 18 --salinity-psu 38 --depth-m 10\n"
     "water --list\n"
     "water --water \"Quarry,temp_c=12,conductivity_ms_cm=5.2\"\n"},
    {"demo", HELP_TOOLS, "demo --dir demo\n"},
};

const struct help_text *help_text_of(const struct command *command) {
    static const struct help_text none = {"", HELP_TOOLS, ""};
    for (size_t i = 0; i < sizeof texts / sizeof texts[0]; i++) {
        if (strcmp(texts[i].command, command->name) == 0) {
            return &texts[i];
        }
    }
    return &none;
}

const char *help_group_title(enum help_group group) {
    static const char *const titles[HELP_GROUPS] = {"At the tank", "The catalogue", "Tools"};
    return titles[group];
}
