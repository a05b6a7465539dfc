"""From counted animals to densities with intervals; NumPy and SciPy only."""

from monitoring.estimation.agreement import (
    AgreementLimits,
    Concordance,
    IntraclassCorrelation,
    concordance,
    intraclass_correlation,
    limits_of_agreement,
)
from monitoring.estimation.carry_over import (
    CarryOver,
    ShareInterval,
    carry_over_per_wash,
    carry_over_share,
    positive_share,
)
from monitoring.estimation.clumping import (
    Clumping,
    RoundFit,
    fit_clumping,
    held_by_fullest,
)
from monitoring.estimation.counter_drift import (
    DriftTrend,
    EwmaChart,
    counter_drift,
    ewma_chart,
)
from monitoring.estimation.degree_days import (
    DegreeDayCutoff,
    DegreeDayMethod,
    DegreeDaySum,
    FilledDays,
    HeatRule,
    degree_days,
    fill_gaps,
    sum_degree_days,
)
from monitoring.estimation.density import (
    DEFAULT_UPPER_LIMIT,
    METHOD_VERSIONS,
    estimate_densities,
    estimate_density,
)
from monitoring.estimation.dish import DishGrid, DishTotal, cells_to_count, expand_cells
from monitoring.estimation.dish_sampling import (
    PILOT_CELLS,
    CellPlan,
    TwoStageTotal,
    cell_order,
    plan_cells,
    two_stage_total,
)
from monitoring.estimation.dispersion import (
    CommonK,
    DispersionIndices,
    NegativeBinomialFit,
    common_k,
    dispersion_indices,
    fit_negative_binomial,
    k_by_moments,
    k_from_zeros,
)
from monitoring.estimation.efficacy import (
    EfficacyEstimate,
    abbott,
    estimate_efficacy,
    henderson_tilton,
    schneider_orelli,
    sun_shepard,
)
from monitoring.estimation.fold_change import FoldChange, fold_change
from monitoring.estimation.forecast import (
    CountedRound,
    CrossingForecast,
    forecast_crossing,
)
from monitoring.estimation.growth import (
    Crossing,
    GrowthFit,
    MeanForecast,
    fit_growth,
)
from monitoring.estimation.growth_paths import UsualGrowth
from monitoring.estimation.learning import (
    LearnedClumping,
    guard_history,
    learn_clumping,
)
from monitoring.estimation.log_delta import LogDeltaInterval, log_delta_interval
from monitoring.estimation.mean_variance import (
    Patchiness,
    PowerLaw,
    fit_patchiness,
    fit_power_law,
)
from monitoring.estimation.mite_days import MiteDays, mite_day_weights, mite_days
from monitoring.estimation.poisson import poisson_limits
from monitoring.estimation.posterior import (
    PROBABILITIES,
    DensityEstimate,
    StoredPosterior,
)
from monitoring.estimation.presence import (
    MeanFromEmpty,
    mean_from_empty,
    proportion_empty,
)
from monitoring.estimation.priors import (
    DEFAULT_K_PRIOR,
    DEFAULT_SIGMA_PRIOR,
    ExponentialSigma,
    KPrior,
    LeafPriors,
    LogNormalK,
    LogNormalSigma,
    LogUniformK,
    SigmaPrior,
)
from monitoring.estimation.profile import profile_interval, zero_count_upper_limit
from monitoring.estimation.ratio import (
    FiellerInterval,
    RatioEstimate,
    estimate_ratio,
    fieller_interval,
)
from monitoring.estimation.recovery import (
    BetaRecovery,
    WashRecovery,
    recovery_from_range,
    recovery_from_spikes,
    recovery_from_washes,
)
from monitoring.estimation.recovery_pool import (
    PooledRecovery,
    RunRecovery,
    SpikeRun,
    WashRun,
    pool_recoveries,
)
from monitoring.estimation.resampling import (
    SequentialRuns,
    StopLineRuns,
    follow_stop_line,
    follow_test,
    resample_units,
)
from monitoring.estimation.result_types import ProfileInterval
from monitoring.estimation.sampling_effort import (
    stop_line_patchiness,
    stop_line_power_law,
    units_for_precision,
)
from monitoring.estimation.sequential import (
    PresenceTest,
    SequentialTest,
    presence_test,
    sequential_test,
    share_at_least,
)
from monitoring.estimation.strata import (
    StratifiedMean,
    combine_strata,
    stratified_mean,
)
from monitoring.estimation.two_counts import (
    BagAnimals,
    CountComparison,
    animals_of_bag,
    compare_counts,
)
from monitoring.estimation.validation import EstimationError
from monitoring.estimation.winkler import winkler_region, winkler_sum

__all__ = [
    "DEFAULT_K_PRIOR",
    "DEFAULT_SIGMA_PRIOR",
    "DEFAULT_UPPER_LIMIT",
    "METHOD_VERSIONS",
    "PILOT_CELLS",
    "PROBABILITIES",
    "AgreementLimits",
    "BagAnimals",
    "BetaRecovery",
    "CarryOver",
    "CellPlan",
    "Clumping",
    "CommonK",
    "Concordance",
    "CountComparison",
    "CountedRound",
    "Crossing",
    "CrossingForecast",
    "DegreeDayCutoff",
    "DegreeDayMethod",
    "DegreeDaySum",
    "DensityEstimate",
    "DishGrid",
    "DishTotal",
    "DispersionIndices",
    "DriftTrend",
    "EfficacyEstimate",
    "EstimationError",
    "EwmaChart",
    "ExponentialSigma",
    "FiellerInterval",
    "FilledDays",
    "FoldChange",
    "GrowthFit",
    "HeatRule",
    "IntraclassCorrelation",
    "KPrior",
    "LeafPriors",
    "LearnedClumping",
    "LogDeltaInterval",
    "LogNormalK",
    "LogNormalSigma",
    "LogUniformK",
    "MeanForecast",
    "MeanFromEmpty",
    "MiteDays",
    "NegativeBinomialFit",
    "Patchiness",
    "PooledRecovery",
    "PowerLaw",
    "PresenceTest",
    "ProfileInterval",
    "RatioEstimate",
    "RoundFit",
    "RunRecovery",
    "SequentialRuns",
    "SequentialTest",
    "ShareInterval",
    "SigmaPrior",
    "SpikeRun",
    "StopLineRuns",
    "StoredPosterior",
    "StratifiedMean",
    "TwoStageTotal",
    "UsualGrowth",
    "WashRecovery",
    "WashRun",
    "abbott",
    "animals_of_bag",
    "carry_over_per_wash",
    "carry_over_share",
    "cell_order",
    "cells_to_count",
    "combine_strata",
    "common_k",
    "compare_counts",
    "concordance",
    "counter_drift",
    "degree_days",
    "dispersion_indices",
    "estimate_densities",
    "estimate_density",
    "estimate_efficacy",
    "estimate_ratio",
    "ewma_chart",
    "expand_cells",
    "fieller_interval",
    "fill_gaps",
    "fit_clumping",
    "fit_growth",
    "fit_negative_binomial",
    "fit_patchiness",
    "fit_power_law",
    "fold_change",
    "follow_stop_line",
    "follow_test",
    "forecast_crossing",
    "guard_history",
    "held_by_fullest",
    "henderson_tilton",
    "intraclass_correlation",
    "k_by_moments",
    "k_from_zeros",
    "learn_clumping",
    "limits_of_agreement",
    "log_delta_interval",
    "mean_from_empty",
    "mite_day_weights",
    "mite_days",
    "plan_cells",
    "poisson_limits",
    "pool_recoveries",
    "positive_share",
    "presence_test",
    "profile_interval",
    "proportion_empty",
    "recovery_from_range",
    "recovery_from_spikes",
    "recovery_from_washes",
    "resample_units",
    "schneider_orelli",
    "sequential_test",
    "share_at_least",
    "stop_line_patchiness",
    "stop_line_power_law",
    "stratified_mean",
    "sum_degree_days",
    "sun_shepard",
    "two_stage_total",
    "units_for_precision",
    "winkler_region",
    "winkler_sum",
    "zero_count_upper_limit",
]
