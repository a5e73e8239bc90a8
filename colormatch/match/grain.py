"""How much of the wood's own contrast still shows through a wash.

A wash that hides the grain is a bad repair at any ΔE. Two tones of the wood, a lighter and a darker one, are followed
through the wash and everything over it; what is left of their difference in lightness is the share that is kept.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from colormatch.match.finish import Ending, film_of_layer
from colormatch.records import FloatArray, Layer
from colormatch.wash.film import Body, Film, lay
from colormatch.wash.paint import PaintModel

#: Half the difference in L* between a field and its grain lines. Our choice; the share hardly depends on it.
TONE = 5.0
#: Shares that differ by less are the same to the eye; our choice.
SAME_GRAIN = 0.05


@dataclass(frozen=True, eq=False)
class GrainLines:
    """A lighter and a darker tone of one wood, and what goes over the whole piece."""

    #: (2, 41) the tones, with the layers that are already on them.
    tones: Body
    ending: Ending

    def kept(self, films: Film) -> FloatArray:
        """Share of the contrast that still shows through films.

        Parameters
        ----------
        films : Film; (n, 41)

        Returns
        -------
        (n,) float; 0 to 1
        """
        over = Film(*(np.asarray(values)[:, None] for values in films))
        return self._share(lay(over, self.tones))

    def kept_by(self, models: Mapping[str, PaintModel], recipe: tuple[Layer, ...]) -> float:
        """The same for a recipe at the best estimates of its paints."""
        body = self.tones
        for layer in recipe:
            body = lay(film_of_layer(models, layer), body)
        return float(self._share(body))

    def _share(self, body: Body) -> FloatArray:
        contrast, bare = (lab[..., 0, 0] - lab[..., 1, 0] for lab in map(self.ending.lab, (body, self.tones)))
        return np.asarray(np.clip(contrast / bare, 0.0, 1.0))
