"""The public functions: pipelines and advice put together, a file in and a document out."""

from chatter.analysis._batch import BatchSummary, analyse_batch
from chatter.analysis._cut import analyse_cut
from chatter.analysis._map import map_stability
from chatter.analysis._practice import make_practice_recording

__all__ = ["BatchSummary", "analyse_batch", "analyse_cut", "make_practice_recording", "map_stability"]
