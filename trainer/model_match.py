"""Whether the pose model is the one the estimator was fitted with, and what follows if not."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Final

from trainer.core.rules import Rules
from trainer.estimator_file import shipped

#: Two pose models do not agree: on the same pictures the older programming interface of the
#: same networks read a turn otherwise by a standard deviation of 6.8 degrees, about as much as
#: the estimate's own error, so the two together are about 1.5 times that (root of 1 + 1).
OTHER_MODEL_SE_FACTOR: Final = 1.5
OTHER_MODEL: Final = "Another pose model than the figures were fitted with: they are less sure."


def rules_for(rules: Rules, model: Path | None) -> Rules:
    """Return ``rules`` with the standard errors that hold for a pose model file.

    None is the standard model. Raises PoseError for a file that holds no pose networks.
    """
    if model is None:
        return rules
    from trainer.adapters.model_file import ensure_model
    from trainer.adapters.model_print import networks_print

    known = networks_print(ensure_model(path=model)) == shipped().pose_model
    return replace(rules, se_factor=1.0 if known else OTHER_MODEL_SE_FACTOR)
