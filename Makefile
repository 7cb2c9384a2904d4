# make demo | build | test | bench | fuzz | lint | audit | clean; "make" alone lists them.

# The three flags of C keep the program small and quick to start (34 shared libraries instead of 366: ldd on
# Debian 12); they must be the same everywhere, since a change recompiles the OpenCV bindings for minutes.
export CGO_CFLAGS   := -O2 -ffunction-sections -fdata-sections
export CGO_CXXFLAGS := -O2 -ffunction-sections -fdata-sections
export CGO_LDFLAGS  := -fuse-ld=lld -Wl,--gc-sections -Wl,--as-needed
# For the tests as for the program: with and without it the bindings are compiled apart.
export GOFLAGS      := $(GOFLAGS) -trimpath

GO      ?= go
VERSION := $(shell git describe --tags --always --dirty 2>/dev/null || echo unknown)
STAMP   := -buildvcs=false -ldflags "-s -w -X main.version=$(VERSION)"

DEMO_PHOTOS  := $(sort $(wildcard testdata/scenes/demo-2026-*.jpg))
DEMO_VARIETY := testdata/demo/variety.yaml
DEMO_OUT     := demo-out

.PHONY: help setup build compile demo test vet lint audit bench fuzz deb deb-same fresh clean

help:
	@echo "make demo    set up, build, measure the demo harvest, say where the report lies"
	@echo "make build   set up and build bin/offtype"
	@echo "make test    set up and run all tests"
	@echo "make bench   run the benchmarks of all stages"
	@echo "make fuzz    fuzz every reader of foreign data, a minute each (TIME=600s: longer, AT_ONCE=4: so many at a time, 0: all)"
	@echo "make lint    gofmt, go vet, and staticcheck where it is installed"
	@echo "make audit   look up the program, its modules and this Go in the Go vulnerability database (network)"
	@echo "make deb     build the Debian package into bin/ (make deb-same: twice, and compare the bytes)"
	@echo "make fresh   as root: make demo and the package in a fresh Debian 12 of their own"
	@echo "make clean   remove what these made"

setup:
	@.ci/packages build

build: setup compile

compile:
	@echo "building bin/offtype $(VERSION) (the first time takes about two minutes)"
	@mkdir -p bin
	$(GO) build $(STAMP) -o bin/offtype ./cmd/offtype

demo: build
	@echo "measuring $(words $(DEMO_PHOTOS)) photos of the demo harvest"
	bin/offtype run --variety $(DEMO_VARIETY) --out $(DEMO_OUT) $(DEMO_PHOTOS)
	@echo "open the report: $(CURDIR)/$(DEMO_OUT)/report.html"

test:
	@.ci/packages test
	$(GO) test -timeout 40m ./...

vet:
	$(GO) vet ./...

lint: vet
	@bad=$$(gofmt -l cmd pipeline measure cluster); \
	if [ -n "$$bad" ]; then echo "not formatted:"; echo "$$bad"; exit 1; fi
	@if command -v staticcheck >/dev/null 2>&1; then echo "staticcheck ./..."; staticcheck ./...; \
	else echo "staticcheck is not installed: left out"; fi

audit: setup
	@.ci/audit

bench: setup
	$(GO) test -run '^$$' -bench . -benchmem ./...

TIME := 60s
AT_ONCE :=
fuzz: setup
	@.ci/fuzz $(TIME) $(AT_ONCE)

deb: build
	@.ci/deb/build bin

# Builds the program and the package a second time, from a clone in another folder,
# and compares the bytes.
deb-same: deb
	@.ci/deb/same bin

fresh: deb
	@.ci/fresh demo
	@.ci/fresh deb $$(ls -t bin/*.deb | head -n 1)

clean:
	rm -rf bin $(DEMO_OUT)
