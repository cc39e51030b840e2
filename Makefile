# SPDX-License-Identifier: GPL-3.0-or-later
#
#   make          build/upthrust and the simulated tank, build/upthrust-tank
#   make demo     the main job on a simulated tank; installs what it lacks (Debian)
#                 (FIRMWARE=1: three items through the firmware of a board in a simulator)
#   make check    the tests; installs what it lacks (Debian)
#   make quick    the tests that need no process, network or root: some fifteen seconds
#   make nightly  everything, the long checks whole
#   make faults   every fault of a session caused on purpose, and what it cost, as a table; then each
#                 allocation, write, sync, open and rename of one failed in turn
#                 (ONLY="WORD ..." chooses some, SAMPLE=10 KEY=WORD draws one in ten)
#   make check-kernel  real serial ports in a small emulated machine; the first time builds its kernel
#   make firmware  the image for a board (rigs/firmware/); make flash PORT=/dev/ttyUSB0 writes it
#   make check-firmware  that image in a simulator, down to the pins (MUTANTS=1: wrong edits of it as well)
#   make truth    ten thousand simulated sessions a cell: how often the interval holds the truth
#   make mutants  wrong edits, one at a time: does a quick test notice? (ONLY=, SAMPLE= and KEY=)
#   make fuzz     random bytes against all that reads what comes from outside (needs clang; SECONDS=
#                 each target, ONLY="NAME ..." chooses some)
#   make bench    how fast, as a table
#   make install  programs, man pages, completion, library and headers to PREFIX (default
#                 /usr/local), DESTDIR respected
#   make clean

VERSION := 0.1.0
VARIANT ?= release
SEED    ?= 1
DEMO    ?= demo
PREFIX  ?= /usr/local

ifeq ($(origin CC),default)
CC := gcc
endif

OUT := build/$(VARIANT)
LIBRARIES := libserialport libgpiod sqlite3 gsl jansson inih uuid hogweed nettle gmp ncursesw icu-i18n icu-uc pangocairo libqrencode
WARNINGS := -Wall -Wextra -Wshadow -Wconversion -Wdouble-promotion -Wformat=2 -Wstrict-prototypes \
  -Wmissing-prototypes -Wvla -Wundef -Wwrite-strings -Wcast-qual -Wswitch-enum
HARDENING := -D_FORTIFY_SOURCE=2 -fstack-protector-strong -fstack-clash-protection
CFLAGS ?= -O2 -g $(HARDENING)
LDFLAGS ?= -pie -Wl,-z,relro,-z,now

SANITIZERS := -O1 -g -fsanitize=address,undefined,float-divide-by-zero,float-cast-overflow \
  -fno-sanitize-recover=all -fno-omit-frame-pointer
ifeq ($(VARIANT),sanitize)
override CFLAGS := $(SANITIZERS)
override LDFLAGS := $(SANITIZERS)
endif
ifeq ($(VARIANT),fuzz)
override CC := clang
override CFLAGS := -O1 -g -fsanitize=fuzzer-no-link,address,undefined -fno-sanitize-recover=all
override LDFLAGS := $(CFLAGS)
endif
ifneq ($(STRICT),)
override WARNINGS += -Werror
endif

# ncurses asks for an older _XOPEN_SOURCE than the one below, which holds it.
PKG_CFLAGS = $(filter-out -D_%,$(shell pkg-config --cflags $(LIBRARIES) 2>/dev/null))
PKG_LIBS   = $(shell pkg-config --libs $(LIBRARIES) 2>/dev/null) -lm
COMPILE = $(CC) -std=c17 -D_XOPEN_SOURCE=700 -D_DEFAULT_SOURCE -Iinclude -Ifirmware-host -I$(OUT)/made -Irigs -Itests/support -Itests/truth \
  -DUPTHRUST_VERSION='"$(VERSION)"' -ffp-contract=off -fPIC $(WARNINGS) $(CFLAGS) $(PKG_CFLAGS) -MMD -MP

FLOORS := text metrology signing wire stream bench catalogue keep trust report operator session kit label page run_report
# libgpiod 2 is another interface than 1: one of the two adapters is built.
GPIO_OTHER := $(if $(filter 2.%,$(shell pkg-config --modversion libgpiod 2>/dev/null)),1,2)
LIB_SRC  := $(filter-out firmware-host/operator/gpio_v$(GPIO_OTHER).c, \
  $(sort $(foreach f,$(FLOORS),$(wildcard firmware-host/$(f)/*.c))))
CLI_SRC  := $(sort $(wildcard firmware-host/cli/*.c))
TANK_SRC := rigs/tank.c rigs/tank_cell.c rigs/gear.c
FIRMWARE_SRC := rigs/numbered_line.c
TANK_MAIN := rigs/tank_program.c
TEST_SRC := $(sort $(wildcard tests/*/*_test.c))
FUZZ_SRC := $(sort $(wildcard tests/fuzz/*_fuzz.c))
SUPPORT_SRC := $(sort $(wildcard tests/support/*.c) $(filter-out %_test.c,$(wildcard tests/truth/*.c)))

object = $(patsubst %.c,$(OUT)/%.o,$(1))
TRUTH := $(patsubst %.c,$(OUT)/%,$(sort $(wildcard tests/truth/*_test.c)))
TESTS := $(patsubst %.c,$(OUT)/%,$(TEST_SRC))
# Texts built into the program: gnuplot templates and the simulated rig.
MADE := $(OUT)/made/embedded.h
EMBED := $(sort $(wildcard plots/*.gp)) rigs/simulated.ini rigs/numbered-line.ini rigs/README.md $(wildcard firmware-host/kit/*.json firmware-host/page/*.css firmware-host/page/*.js) \
  firmware-host/cli/completion.bash firmware-host/cli/upthrust.man

SECONDS ?= 20
# The number changes when a program that was linked against an older library would break.
SONAME := libupthrust.so.0
OBJCOPY ?= objcopy

# Tests leave nothing in the home of who runs them.
export XDG_STATE_HOME := $(CURDIR)/build/state

.PHONY: all demo check quick nightly faults fuzz check-kernel bench truth install clean packages-build packages-check \
  packages-kernel packages-firmware tests FORCE
.PRECIOUS: $(OUT)/%.o build/firmware/%.elf
.DELETE_ON_ERROR:

all: build/upthrust build/upthrust-tank

# The link points at the variant that was asked for last, whichever is newer.
build/upthrust build/upthrust-tank: build/%: $(OUT)/% FORCE
	@[ "$$(readlink $@)" = $(VARIANT)/$* ] || ln -sfn $(VARIANT)/$* $@

$(OUT)/libupthrust.a: $(call object,$(LIB_SRC))
	@rm -f $@
	@$(AR) rcs $@ $^

# The library as others get it: what the public headers declare is seen from outside, nothing else.
$(OUT)/made/exports: $(sort $(wildcard include/upthrust/*.h)) Makefile
	@mkdir -p $(@D)
	@grep -ohE '\bup_[a-z0-9_]+\(' $(filter %.h,$^) | tr -d '(' | sort -u >$@
$(OUT)/made/exports.map: $(OUT)/made/exports
	@{ echo '{ global:'; sed 's/$$/;/' $<; echo 'local: *; };'; } >$@
$(OUT)/$(SONAME): $(call object,$(LIB_SRC)) $(OUT)/made/exports.map
	@$(CC) -shared $(filter-out -pie,$(LDFLAGS)) -Wl,-soname,$(SONAME) -Wl,--as-needed \
	  -Wl,--version-script=$(OUT)/made/exports.map -o $@ $(filter %.o,$^) $(PKG_LIBS)
$(OUT)/installed/libupthrust.a: $(call object,$(LIB_SRC)) $(OUT)/made/exports
	@mkdir -p $(@D)
	@rm -f $@
	@$(LD) -r -o $(@D)/whole.o $(filter %.o,$^)
	@$(OBJCOPY) --keep-global-symbols=$(OUT)/made/exports $(@D)/whole.o
	@$(AR) rcs $@ $(@D)/whole.o
$(OUT)/installed/upthrust.pc: Makefile FORCE
	@mkdir -p $(@D)
	@printf '%s\n' 'prefix=$(PREFIX)' 'includedir=$${prefix}/include' 'libdir=$${prefix}/lib' '' \
	  'Name: upthrust' 'Description: net buoyancy of dive gear: bench, metrology, catalogue' \
	  'Version: $(VERSION)' 'Requires: jansson' \
	  'Requires.private: $(filter-out jansson,$(LIBRARIES))' 'Libs: -L$${libdir} -lupthrust' \
	  'Libs.private: -lm' 'Cflags: -I$${includedir}' >$@
$(OUT)/made/upthrust.1: $(OUT)/upthrust
	@$< --print man >$@
$(OUT)/made/upthrust-rig.5: rigs/README.md rigs/man.awk FORCE
	@mkdir -p $(@D)
	@awk -v rigs=$(PREFIX)/share/upthrust/rigs -v title='UPTHRUST-RIG 5 "" "upthrust $(VERSION)" "File Formats"' \
	  -v name='upthrust-rig \- the equipment at the tank, cautions, and the rig file' -f rigs/man.awk $< >$@
$(OUT)/made/upthrust-tank.1: rigs/simulated-tank.md rigs/man.awk $(OUT)/upthrust-tank FORCE
	@{ awk -v rigs=$(PREFIX)/share/upthrust/rigs -v title='UPTHRUST-TANK 1 "" "upthrust $(VERSION)" "User Commands"' \
	  -v name='upthrust-tank \- a simulated tank with a load cell' -f rigs/man.awk $<; \
	  echo .SH OPTIONS; echo .nf; $(OUT)/upthrust-tank --help | sed 's/-/\\-/g'; } >$@
$(OUT)/made/upthrust.bash: $(OUT)/upthrust
	@$< --print bash-completion >$@

$(OUT)/upthrust: $(call object,$(CLI_SRC)) $(OUT)/libupthrust.a
	@$(CC) $(LDFLAGS) -o $@ $^ $(PKG_LIBS)
	@echo "built $@"
$(OUT)/upthrust-tank: $(call object,$(TANK_MAIN) $(TANK_SRC)) $(OUT)/libupthrust.a
	@$(CC) $(LDFLAGS) -o $@ $^ $(PKG_LIBS)
	@echo "built $@"
# The program at GPIO lines that are pipes: a foot and lamps without a chip.
$(OUT)/tests/operator/pretended: $(call object,$(CLI_SRC) tests/operator/pretended_lines.c) $(OUT)/libupthrust.a
	@$(CC) $(LDFLAGS) -o $@ $^ $(PKG_LIBS)
$(OUT)/tests/%_test: $(OUT)/tests/%_test.o $(call object,$(SUPPORT_SRC) $(TANK_SRC) $(FIRMWARE_SRC)) $(OUT)/libupthrust.a
	@$(CC) $(LDFLAGS) -o $@ $^ $(PKG_LIBS) -lcmocka

$(OUT)/tests/fuzz/%_fuzz: $(OUT)/tests/fuzz/%_fuzz.o $(OUT)/libupthrust.a
	@$(CC) -fsanitize=fuzzer $(LDFLAGS) -o $@ $(filter %.o,$^) $(OUT)/libupthrust.a $(PKG_LIBS)
$(OUT)/tests/fuzz/words_fuzz: $(call object,$(filter-out %/main.c,$(CLI_SRC)))

# Who includes the texts built in depends on them by its dependency file.
$(OUT)/%.o: %.c Makefile | $(MADE)
	@mkdir -p $(@D)
	@$(COMPILE) -c -o $@ $<

# Each file as one C string, named after it: plots/items.gp becomes embedded_items_gp.
$(MADE): $(EMBED) Makefile
	@mkdir -p $(@D)
	@for f in $(EMBED); do \
	  printf 'static const char embedded_%s[] __attribute__((unused)) =\n' "$$(basename $$f | tr '.-' '__')"; \
	  sed -e 's/\\/\\\\/g' -e 's/"/\\"/g' -e 's/.*/  "&\\n"/' $$f; echo '  ;'; done > $@

-include $(shell find $(OUT) -name '*.d' 2>/dev/null)

packages-build packages-check packages-kernel packages-firmware: packages-%:
	@sh .ci/packages.sh $*

ifeq ($(FIRMWARE),1)
demo: packages-firmware
	@$(MAKE) --no-print-directory all build/firmware/atmega328p.elf $(SIMULATOR)
	@python3 -B tests/firmware/demo.py $(OUT) build/firmware/atmega328p.elf $(SEED)
else
demo: packages-build
	@$(MAKE) --no-print-directory all
	@build/upthrust demo --dir $(DEMO) --seed $(SEED); status=$$?; \
	  test $$status -eq 0 || test $$status -eq 3
endif

tests: $(TESTS) $(OUT)/tests/operator/pretended

check: packages-check
	@$(MAKE) --no-print-directory all tests
	@sh tests/run.sh $(OUT) all

quick:
	@$(MAKE) --no-print-directory all tests
	@sh tests/run.sh $(OUT) quick

# .ci/run with every long check whole.
nightly:
	@.ci/run whole

# Put before the program, fails one of its calls; written for one kind of machine.
$(OUT)/tests/faults/fail_nth.so: tests/faults/fail_nth.c Makefile
	@mkdir -p $(@D)
	@$(CC) -std=c17 $(WARNINGS) -O1 -g -fPIC -shared -o $@ $<

faults: all
	-@$(MAKE) --no-print-directory $(OUT)/tests/faults/fail_nth.so
	@sh tests/faults/faults.sh $(OUT) $(if $(SAMPLE),--sample $(SAMPLE) --key "$(KEY)") $(ONLY)

check-kernel: packages-kernel
	@$(MAKE) --no-print-directory all
	@sh tests/kernel/kernel.sh $(OUT)

truth: all
	@$(MAKE) --no-print-directory $(TRUTH)
	@status=0; \
	  UPTHRUST_TRUTH_PAIRS=20 $(OUT)/tests/truth/plateau_test || status=1; \
	  UPTHRUST_TRUTH_SEEDS=$${SEEDS:-60} $(OUT)/tests/truth/coverage_test || status=1; \
	  UPTHRUST_TRUTH_WIDTHS=100 $(OUT)/tests/truth/widths_test || status=1; \
	  UPTHRUST_TRUTH_SESSIONS=$${SESSIONS:-10000} $(OUT)/tests/truth/cells_test || status=1; \
	  UPTHRUST_TRUTH_STRICT=1 UPTHRUST_SECOND_SESSIONS=$${SECOND:-200} \
	    $(OUT)/tests/truth/second_family_test || status=1; \
	  UPTHRUST_TRUTH_SESSIONS=$${SESSIONS:-10000} $(OUT)/tests/truth/quick_test || status=1; \
	  UPTHRUST_TRUTH_SESSIONS=$${SESSIONS:-10000} $(OUT)/tests/truth/quick_second_test || status=1; \
	  UPTHRUST_TRUTH_DIVERS=$${DIVERS:-10000} $(OUT)/tests/truth/diver_test || status=1; \
	  exit $$status

# Random bytes against whatever reads text from outside; SECONDS each target.
fuzz:
	@sh .ci/packages.sh fuzz
	@$(MAKE) --no-print-directory VARIANT=fuzz $(patsubst %.c,build/fuzz/%,$(if $(ONLY),$(patsubst %,tests/fuzz/%_fuzz.c,$(ONLY)),$(FUZZ_SRC)))
	@sh tests/fuzz/fuzz.sh build/fuzz $(SECONDS) $(ONLY)

# A week at the bench within one process.
$(OUT)/tests/speed/soak: $(call object,tests/speed/soak.c tests/support/chance.c $(TANK_SRC)) $(OUT)/libupthrust.a
	@$(CC) $(LDFLAGS) -o $@ $^ $(PKG_LIBS) -lpthread

# A catalogue of as many results as wanted.
$(OUT)/tests/speed/grow: $(call object,tests/speed/grow.c tests/support/chance.c) $(OUT)/libupthrust.a
	@$(CC) $(LDFLAGS) -o $@ $^ $(PKG_LIBS)

bench: all
	@$(MAKE) --no-print-directory $(OUT)/tests/speed/soak $(OUT)/tests/speed/grow
	@sh tests/speed/bench.sh $(OUT)

# The pages as they lie here, so that the links between them hold.
EXAMPLES := $(sort $(wildcard rigs/*.ini)) rigs/numbered_line.c rigs/numbered_line.h
PAGES := $(sort $(wildcard *.md rigs/*.md rigs/*/*.md rigs/*/*.svg include/*/*.md firmware-host/*/*.md tests/*/*.md)) tests/library/density.c

install: all $(OUT)/$(SONAME) $(OUT)/installed/libupthrust.a $(OUT)/installed/upthrust.pc \
  $(OUT)/made/upthrust.1 $(OUT)/made/upthrust-rig.5 $(OUT)/made/upthrust-tank.1 $(OUT)/made/upthrust.bash
	install -d $(addprefix $(DESTDIR)$(PREFIX)/,bin share/upthrust/rigs share/doc/upthrust \
	  share/man/man1 share/man/man5 share/bash-completion/completions include/upthrust lib/pkgconfig)
	install -m 755 $(OUT)/upthrust $(OUT)/upthrust-tank $(DESTDIR)$(PREFIX)/bin
	install -m 644 $(EXAMPLES) $(DESTDIR)$(PREFIX)/share/upthrust/rigs
	for file in LICENSE $(PAGES) $(EXAMPLES); do \
	  install -D -m 644 $$file $(DESTDIR)$(PREFIX)/share/doc/upthrust/$$file || exit 1; done
	install -m 644 $(OUT)/made/upthrust.1 $(OUT)/made/upthrust-tank.1 $(DESTDIR)$(PREFIX)/share/man/man1
	install -m 644 $(OUT)/made/upthrust-rig.5 $(DESTDIR)$(PREFIX)/share/man/man5
	install -m 644 $(OUT)/made/upthrust.bash $(DESTDIR)$(PREFIX)/share/bash-completion/completions/upthrust
	install -m 644 include/upthrust/*.h $(DESTDIR)$(PREFIX)/include/upthrust
	install -m 644 $(OUT)/$(SONAME) $(OUT)/installed/libupthrust.a $(DESTDIR)$(PREFIX)/lib
	ln -sf $(SONAME) $(DESTDIR)$(PREFIX)/lib/libupthrust.so
	install -m 644 $(OUT)/installed/upthrust.pc $(DESTDIR)$(PREFIX)/lib/pkgconfig

FORCE:

# ---- wrong edits, one at a time: does a quick test notice? (tests/mutants/) ----
#   make mutants ONLY="NAME OR GROUP ..."      SAMPLE=12 KEY=$(git rev-parse HEAD)
# The quick tests once more, against a shared library: an edited file is then linked once, not into each.
SHARED := $(OUT)/shared/libupthrust.so
$(SHARED): $(call object,$(LIB_SRC))
	@mkdir -p $(@D)
	@$(CC) -shared -s -o $@ $^ $(PKG_LIBS)
$(OUT)/shared/%_test: $(OUT)/%_test.o $(call object,$(SUPPORT_SRC) $(TANK_SRC) $(FIRMWARE_SRC)) | $(SHARED)
	@mkdir -p $(@D)
	@$(CC) -pie -s -o $@ $^ -L$(OUT)/shared -lupthrust -Wl,-rpath,'$$ORIGIN/../..' $(PKG_LIBS) -lcmocka
.PHONY: mutants
mutants: $(patsubst $(OUT)/%,$(OUT)/shared/%,$(filter-out $(OUT)/tests/truth/%,$(TESTS)))
	@python3 tests/mutants/mutants.py $(ONLY) $(if $(SAMPLE),--sample $(SAMPLE) --key "$(KEY)")

# ---- the firmware of a board (rigs/firmware/), and its tests in a simulator (tests/firmware/) ----
BOARDS := atmega328p atmega2560
AVR_SRC := $(sort $(wildcard rigs/firmware/*.c)) rigs/numbered_line.c
AVR_COMPILE = avr-gcc -std=c11 -Os -DF_CPU=16000000UL -Irigs -Irigs/firmware -Wall -Wextra -Wconversion -Wshadow -Wundef \
  -Werror -ffunction-sections -fdata-sections -Wl,--gc-sections

.PHONY: firmware check-firmware flash
firmware:
	@sh .ci/packages.sh board
	@$(MAKE) --no-print-directory $(patsubst %,build/firmware/%.hex,$(BOARDS))
	@for board in $(BOARDS); do avr-size -C --mcu=$$board build/firmware/$$board.elf | grep -E 'Device|Program|Data'; done

flash:
	@sh .ci/packages.sh flash
	@$(MAKE) --no-print-directory build/firmware/atmega328p.hex
	@sh rigs/firmware/flash.sh build/firmware/atmega328p.hex "$(PORT)" $(or $(BAUD),115200)

# Of one compiler call each, so that no object file names a folder.
build/firmware/%.elf: $(AVR_SRC) $(wildcard rigs/firmware/*.h) rigs/numbered_line.h Makefile
	@mkdir -p $(@D)
	@$(AVR_COMPILE) -mmcu=$* -o $@ $(AVR_SRC)
build/firmware/%.hex: build/firmware/%.elf
	@avr-objcopy -O ihex -R .eeprom -R .fuse $< $@
# What the guard of the converter's clock is for: a build without it must fail.
build/firmware/unguarded.elf: $(AVR_SRC) $(wildcard rigs/firmware/*.h) rigs/numbered_line.h Makefile
	@mkdir -p $(@D)
	@$(AVR_COMPILE) -DWITHOUT_GUARD -mmcu=atmega328p -o $@ $(AVR_SRC)

SIMULATED := $(call object,$(wildcard tests/firmware/*_model.c))
$(OUT)/tests/firmware/check: $(call object,tests/firmware/check.c tests/firmware/heard.c) $(SIMULATED) $(OUT)/libupthrust.a
	@$(CC) $(LDFLAGS) -o $@ $^ $(PKG_LIBS) -lsimavr -lelf

$(OUT)/tests/firmware/simulated_board: $(call object,tests/firmware/simulated_board.c) $(SIMULATED)
	@$(CC) $(LDFLAGS) -o $@ $^ -lsimavr -lelf -lm

CONVERSIONS ?= 100000
SIMULATOR := $(OUT)/tests/firmware/check $(OUT)/tests/firmware/simulated_board
check-firmware: packages-firmware
	@$(MAKE) --no-print-directory all firmware build/firmware/unguarded.elf $(SIMULATOR)
	@sh tests/firmware/firmware.sh $(OUT) build/firmware $(CONVERSIONS) $(if $(MUTANTS),mutants)

clean:
	rm -rf build
