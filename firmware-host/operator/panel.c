/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Takes the rig's GPIO lines from the kernel, reads them, and gives them back. */
#include <errno.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

#include "panel_internal.h"
#include "text/clock.h"
#include "text/text.h"

enum { CHIPS_MAX = 64, PATH_SIZE = 96, NAMED_MAX = 4 + UP_LAMPS };

/* A kernel older than 5.7 stamps edges with the time of day: no such stamp is taken. */
static const double STAMP_OLDEST_S = 60;

/* ---- where a line is ---- */

/* One of the rig's GPIO lines, and where it was found. */
struct wanted {
    const char *section, *name;
    const struct up_gpio *at;
    bool is_output, active_low;
    enum up_bias bias;
    char path[PATH_SIZE];
    dev_t device;
    unsigned offset;
};

struct finding {
    const struct up_rig *rig;
    struct wanted wanted[NAMED_MAX];
    int count;
    struct up_failure *failure;
};

static bool refuse(const struct finding *finding, const struct wanted *wanted,
                   enum up_status status, const char *format, ...)
    __attribute__((format(printf, 4, 5)));

static bool refuse(const struct finding *finding, const struct wanted *wanted,
                   enum up_status status, const char *format, ...) {
    char what[300];
    va_list arguments;
    va_start(arguments, format);
    vsnprintf(what, sizeof what, format, arguments);
    va_end(arguments);
    return up_fail(finding->failure, status, "rig file %s, [%s] %s = %.60s %.60s: %s",
                   finding->rig->path, wanted->section, wanted->name, wanted->at->chip,
                   wanted->at->line, what);
}

static void want(struct finding *finding, const char *section, const char *name,
                 const struct up_gpio *at, bool is_output, enum up_bias bias, bool active_low) {
    if (at->chip[0] != '\0') {
        finding->wanted[finding->count++] = (struct wanted){.section = section,
                                                            .name = name,
                                                            .at = at,
                                                            .is_output = is_output,
                                                            .bias = bias,
                                                            .active_low = active_low};
    }
}

static void want_all(struct finding *finding) {
    const struct up_rig *rig = finding->rig;
    want(finding, "pedal", "line", &rig->pedal.input.at, false, rig->pedal.input.bias,
         rig->pedal.input.active_low);
    want(finding, "float", "line", &rig->level.at, false, rig->level.bias, rig->level.active_low);
    want(finding, "shaker", "line", &rig->shaker.at, true, UP_BIAS_AS_IS, rig->shaker.active_low);
    want(finding, "buzzer", "line", &rig->buzzer.at, true, UP_BIAS_AS_IS, rig->buzzer.active_low);
    for (int i = 0; i < UP_LAMPS; i++) {
        want(finding, "lamps", up_lamp_name((enum up_lamp)i), &rig->lamp[i], true, UP_BIAS_AS_IS,
             rig->lamps_active_low);
    }
}

/* "/dev/gpiochip0", "gpiochip0", or the chip's label, which stays when numbers change. */
static struct gpio_chip *open_chip(const char *name, char path[PATH_SIZE]) {
    struct gpio_chip *chip;
    snprintf(path, PATH_SIZE, "%s%s", name[0] == '/' ? "" : "/dev/", name);
    chip = gpio_open(path);
    if (chip != NULL || name[0] == '/' || errno != ENOENT) {
        return chip;
    }
    for (int i = 0; i < CHIPS_MAX; i++) {
        snprintf(path, PATH_SIZE, "/dev/gpiochip%d", i);
        chip = gpio_open(path);
        if (chip != NULL && strcmp(gpio_label(chip), name) == 0) {
            return chip;
        }
        gpio_close(chip);
    }
    errno = ENOENT;
    return NULL;
}

static bool refuse_chip(const struct finding *finding, const struct wanted *wanted) {
    if (errno == ENOENT) {
        return refuse(finding, wanted, UP_STATUS_UNABLE,
                      "there is no GPIO chip of that name or label here: see `ls /dev/gpiochip*`");
    }
    if (errno == EACCES || errno == EPERM) {
        return refuse(finding, wanted, UP_STATUS_UNABLE,
                      "you have no permission for that chip: ask to join its group, see `ls -l %s`",
                      wanted->path);
    }
    return refuse(finding, wanted, UP_STATUS_UNABLE, "cannot open that chip: %s", strerror(errno));
}

static bool find_offset(struct gpio_chip *chip, const char *line, unsigned *offset) {
    if (line[strspn(line, "0123456789")] == '\0') {
        *offset = strlen(line) < 6 ? (unsigned)strtoul(line, NULL, 10) : ~0U;
        return true;
    }
    return gpio_find(chip, line, offset);
}

static const char *article(bool is_output) {
    return is_output ? "an output" : "an input";
}

static bool check_line(const struct finding *finding, struct wanted *wanted,
                       struct gpio_chip *chip) {
    struct gpio_facts facts;
    if (!find_offset(chip, wanted->at->line, &wanted->offset) ||
        !gpio_inspect(chip, wanted->offset, &facts)) {
        return refuse(finding, wanted, UP_STATUS_WRONG_INPUT,
                      "the chip (%.40s) has no such line: `gpioinfo` lists them", gpio_label(chip));
    }
    if (facts.is_used) {
        return refuse(finding, wanted, UP_STATUS_UNABLE,
                      "the line is in use, as %s, by %.60s: end that, or name another line",
                      article(facts.is_output),
                      facts.consumer[0] != '\0' ? facts.consumer : "the kernel or another program");
    }
    return true;
}

static bool find_line(struct finding *finding, struct wanted *wanted) {
    struct gpio_chip *chip = open_chip(wanted->at->chip, wanted->path);
    struct stat about;
    bool good = chip != NULL ? check_line(finding, wanted, chip) : refuse_chip(finding, wanted);
    gpio_close(chip);
    if (good && stat(wanted->path, &about) == 0) {
        wanted->device = about.st_rdev;
    }
    return good;
}

/* Under two names it may be the same line. */
static bool check_twice(const struct finding *finding, const struct wanted *wanted) {
    for (const struct wanted *other = finding->wanted; other < wanted; other++) {
        if (other->device == wanted->device && other->offset == wanted->offset) {
            return refuse(finding, wanted, UP_STATUS_WRONG_INPUT,
                          "it is the same line as [%s] %s = %.60s: %s", other->section, other->name,
                          other->at->line,
                          other->is_output != wanted->is_output ? "an output cannot be an input too"
                                                                : "give each its own");
        }
    }
    return true;
}

static bool find_all(struct finding *finding) {
    for (int i = 0; i < finding->count; i++) {
        struct wanted *wanted = &finding->wanted[i];
        if (!find_line(finding, wanted) || !check_twice(finding, wanted)) {
            return false;
        }
    }
    return true;
}

/* ---- taking them ---- */

static bool refuse_request(const struct finding *finding, const struct wanted *wanted) {
    if (errno == EBUSY) {
        return refuse(finding, wanted, UP_STATUS_UNABLE,
                      "the line has just been taken by another program");
    }
    return refuse(finding, wanted, UP_STATUS_UNABLE, "the kernel does not give it as %s: %s",
                  article(wanted->is_output), strerror(errno));
}

static struct gpio_line **place_of(struct up_panel *panel, const struct wanted *wanted) {
    const struct up_rig *rig = panel->rig;
    if (wanted->at == &rig->pedal.input.at) {
        return &panel->pedal;
    }
    if (wanted->at == &rig->level.at) {
        return &panel->level;
    }
    return wanted->at == &rig->buzzer.at ? &panel->buzzer : &panel->lamp[wanted->at - rig->lamp];
}

static bool take_line(struct up_panel *panel, const struct finding *finding,
                      const struct wanted *wanted) {
    const struct up_rig *rig = panel->rig;
    struct gpio_line **place;
    struct gpio_chip *chip;
    if (wanted->at == &rig->shaker.at) {
        panel->shaker =
            shaker_start(wanted->path, wanted->offset, wanted->active_low, rig->shaker_limit_s);
        return panel->shaker != NULL || refuse_request(finding, wanted);
    }
    place = place_of(panel, wanted);
    chip = gpio_open(wanted->path);
    if (chip == NULL) {
        return refuse_chip(finding, wanted);
    }
    *place =
        gpio_request(chip, wanted->offset, wanted->is_output, wanted->bias, wanted->active_low);
    if (*place == NULL) {
        refuse_request(finding, wanted);
        gpio_close(chip);
        return false;
    }
    return true;
}

/* Too low from the beginning is reported like a change. */
static void begin_inputs(struct up_panel *panel) {
    up_contact_begin(&panel->water, panel->rig->level.debounce_s, up_monotonic_s(), true);
}

bool up_panel_open(const struct up_rig *rig, struct up_panel **result, struct up_failure *failure) {
    struct finding finding = {.rig = rig, .failure = failure};
    struct up_panel *panel;
    *result = NULL;
    want_all(&finding);
    if (finding.count == 0) {
        return true;
    }
    if (!find_all(&finding)) {
        return false;
    }
    panel = up_allocate(1, sizeof *panel);
    panel->rig = rig;
    for (int i = 0; i < finding.count; i++) {
        if (!take_line(panel, &finding, &finding.wanted[i])) {
            up_panel_close(panel);
            return false;
        }
    }
    begin_inputs(panel);
    indicator_begin(panel);
    *result = panel;
    return true;
}

static void release_line(struct gpio_line *line, bool is_output) {
    if (line != NULL && is_output) {
        gpio_set(line, false);
    }
    gpio_release(line);
}

void up_panel_close(struct up_panel *panel) {
    if (panel == NULL) {
        return;
    }
    shaker_stop(panel->shaker);
    release_line(panel->buzzer, true);
    for (int i = 0; i < UP_LAMPS; i++) {
        release_line(panel->lamp[i], true);
    }
    release_line(panel->pedal, false);
    release_line(panel->level, false);
    free(panel);
}

/* ---- hearing ---- */

static struct pollfd entry_of(struct gpio_line *line) {
    return (struct pollfd){.fd = line != NULL ? gpio_descriptor(line) : -1, .events = POLLIN};
}

/* Edges of an unused pedal would wake the program again and again. */
void panel_entries(const struct up_panel *panel, struct pollfd *entry) {
    entry[0] = entry_of(panel != NULL && panel->answers ? panel->pedal : NULL);
    entry[1] = entry_of(panel != NULL ? panel->level : NULL);
}

int panel_wait_ms(const struct up_panel *panel, double now_s, int most_ms) {
    double due_s;
    if (panel == NULL) {
        return most_ms;
    }
    due_s = indicator_due_s(panel, now_s);
    if (panel->answers) {
        due_s = fmin(due_s, up_pedal_due_s(&panel->press));
    }
    return due_s <= now_s ? 0 : (int)fmin(most_ms, ceil((due_s - now_s) * 1e3));
}

static double stamp_of(const struct gpio_edge *edge) {
    double now_s = up_monotonic_s();
    return edge->time_s <= now_s && edge->time_s > now_s - STAMP_OLDEST_S ? edge->time_s : now_s;
}

/* A line whose chip was unplugged: reported once, then not used again. */
static void drop_line(struct up_panel *panel, struct gpio_line **line, const char *what) {
    panel->lost = what;
    gpio_release(*line);
    *line = NULL;
    panel->answers = panel->answers && panel->pedal != NULL;
}

void panel_listen(struct up_panel *panel) {
    struct gpio_edge edge;
    if (panel->pedal == NULL) {
        return;
    }
    while (gpio_next_edge(panel->pedal, &edge) == 1) {
    }
    up_pedal_begin(&panel->press, &panel->rig->pedal, up_monotonic_s(),
                   gpio_get(panel->pedal) == 1);
    panel->answers = true;
}

enum up_pedal_word panel_pedal_word(struct up_panel *panel) {
    struct gpio_edge edge;
    int level;
    while (panel->pedal != NULL && gpio_next_edge(panel->pedal, &edge) == 1) {
        double time_s = stamp_of(&edge);
        /* the word that had waited for this edge comes before it */
        enum up_pedal_word word = up_pedal_push(&panel->press, time_s, edge.active);
        if (word != UP_PEDAL_NOTHING) {
            return word;
        }
    }
    level = panel->pedal != NULL ? gpio_get(panel->pedal) : 0;
    if (level < 0) {
        drop_line(panel, &panel->pedal,
                  "the pedal's line is gone: check its chip, then start again");
        return UP_PEDAL_NOTHING;
    }
    return panel->pedal != NULL ? up_pedal_push(&panel->press, up_monotonic_s(), level == 1)
                                : UP_PEDAL_NOTHING;
}

/* The level itself is looked at; its edges only wake us. */
bool panel_water_changed(struct up_panel *panel) {
    struct gpio_edge edge;
    int level;
    if (panel->level == NULL) {
        return false;
    }
    while (gpio_next_edge(panel->level, &edge) == 1) {
    }
    level = gpio_get(panel->level);
    if (level < 0) {
        drop_line(panel, &panel->level,
                  "the float switch's line is gone: the level is not watched now");
        return false;
    }
    up_contact_push(&panel->water, up_monotonic_s(), level == 1);
    if (panel->water.level != panel->water_is_low) {
        return false;
    }
    panel->water_is_low = !panel->water.level;
    return true;
}

/* ---- a result ---- */

void up_panel_show_class(struct up_panel *panel, enum up_class class,
                         const volatile sig_atomic_t *signalled) {
    double now_s = up_monotonic_s(), end_s;
    if (panel == NULL ||
        (panel->lamp[lamp_of(class)] == NULL && panel->lamp[UP_LAMP_ALL] == NULL)) {
        return;
    }
    panel_listen(panel);
    end_s = now_s + panel->rig->result_s;
    panel->fault_until_s = now_s;
    panel->fault_stands = false;
    indicator_show(panel, lamp_of(class), now_s);
    indicator_sound(panel, UP_SOUND_RESULT);
    up_pedal_asks(&panel->press, now_s);
    while (now_s < end_s && *signalled == 0 && panel_pedal_word(panel) == UP_PEDAL_NOTHING) {
        struct pollfd entry[PANEL_POLLED];
        indicator_tick(panel, now_s);
        panel_entries(panel, entry);
        poll(entry, 1, panel_wait_ms(panel, now_s, 200));
        now_s = up_monotonic_s();
    }
    indicator_waiting(panel);
    panel->dark = true; /* the next session lights them again */
    indicator_tick(panel, up_monotonic_s());
    panel->dark = false;
}
